/* The register of all units: search, filters, sorting, pages of lines, and a CSV of what is found. In: the units as columns in a script file
   beside the pages. Out: a table; the state stands in the address, so that it can be sent. Nothing leaves the page. */
(function () {
  "use strict";
  var PER_PAGE = 100, DAY = 86400000, NONE = "\u2013";
  var MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
  var box = document.querySelector(".register");
  if (!box || !document.documentElement.classList.contains("scripted")) { return; }

  function make(tag, text, name) {
    var part = document.createElement(tag);
    if (text !== undefined) { part.textContent = text; }
    if (name) { part.className = name; }
    return part;
  }
  function say(number) { return number.toLocaleString("en-GB"); }
  function isoDay(days) { return days === null ? "" : new Date(days * DAY).toISOString().slice(0, 10); }
  function sayDay(days) {
    if (days === null) { return NONE; }
    var day = new Date(days * DAY);
    return day.getUTCDate() + "\u00a0" + MONTHS[day.getUTCMonth()] + "\u00a0" + day.getUTCFullYear();
  }

  /* what a spreadsheet would run gets an apostrophe, as in every CSV of the site */
  var FORMULA = /^[=+\-@\t\r\n\uff1d\uff0b\uff0d\uff20]/, NUMBER = /^[+-]?[0-9][0-9.,\s]*$/, GUARDED = /^'+[=+\-@\t\r\n\uff1d\uff0b\uff0d\uff20]/;
  function guard(cell) { return (FORMULA.test(cell) && !NUMBER.test(cell)) || GUARDED.test(cell) ? "'" + cell : cell; }
  function quote(cell) { return /[",\r\n]/.test(cell) ? "\"" + cell.replace(/"/g, "\"\"") + "\"" : cell; }

  function start(data) {
    var count = data.unit.length, words = data.words, places = data.places, texts = new Array(count);
    function word(name, i) { return words[name][places[name][i]]; }
    function made(i) { return word("made", i).split("|"); }
    var seen = {};
    function states(i) {
      var bits = data.state[i];
      if (!seen[bits]) { seen[bits] = data.states.filter(function (state, bit) { return bits >> bit & 1; }); }
      return seen[bits];
    }
    function sayStates(i) { return states(i).map(function (state) { return state[0]; }).join(", "); }
    for (var i = 0; i < count; i += 1) {
      texts[i] = [data.unit[i], data.vessels[data.vessel[i]].slice(0, 2).join(" "), word("position", i), word("space", i), word("kind", i), word("agent", i),
        word("charge", i), sayStates(i)].join("\n").toLowerCase().replace(/\u202f|\u00a0/g, " ");
    }

    /* columns: heading, what it sorts by, its cell */
    var COLUMNS = [
      ["unit", "Unit", function (i) { return data.order[i]; }],
      ["state", "State", function (i) { return states(i).length && Math.log2(data.state[i] & -data.state[i]); }],
      ["vessel", "Vessel", function (i) { return data.vessel[i]; }],
      ["position", "Position", function (i) { return places.position[i]; }],
      ["space", "Space", function (i) { return places.space[i]; }],
      ["agent", "Agent, charge", function (i) { return places.agent[i] * 1000 + places.charge[i] / 1000; }],
      ["made", "Made", function (i) { return made(i)[0] ? places.made[i] : null; }],
      ["due", "Next due", function (i) { return data.due[i]; }],
      ["rank", "Watch list", function (i) { return data.rank[i]; }]
    ];
    function link(text, href) {
      var part = make("a", text);
      part.href = href;
      return part;
    }
    function cells(i) {
      var vessel = data.vessels[data.vessel[i]], head = make("th", undefined, "unit"), state = make("td"), out = [head, state];
      var whole = make("span", undefined, "whole");
      head.scope = "row";
      whole.appendChild(link(data.unit[i], "unit/" + (data.pages[i] || data.unit[i].toLowerCase()) + ".html"));
      head.appendChild(whole);
      states(i).forEach(function (one, n) {
        var mark = make("span", undefined, "state " + (one[1] || "few")), shape = make("i", undefined, "shape");
        shape.setAttribute("aria-hidden", "true");
        if (one[1]) { mark.appendChild(shape); }
        mark.appendChild(document.createTextNode(one[0]));
        if (n) { state.appendChild(document.createTextNode(" ")); }
        state.appendChild(mark);
      });
      var where = make("td", vessel[2] ? undefined : vessel[1], "link");
      if (vessel[2]) { where.appendChild(link(vessel[1], "vessel/" + vessel[0] + ".html")); }
      out.push(where, make("td", word("position", i) || NONE, "code"), make("td", word("space", i) || NONE));
      out.push(make("td", word("agent", i) + ", " + word("charge", i)), make("td", made(i)[1] || NONE, "date"));
      out.push(make("td", data.due[i] === null ? NONE : sayDay(data.due[i]) + ", " + word("duty", i)), make("td", data.rank[i] === null ? NONE : say(data.rank[i]), "right"));
      return out;
    }

    /* controls; their values are the state */
    var tools = make("div", undefined, "tools"), search = make("input"), selects = {}, output = make("output");
    function label(text, control) {
      var part = make("label", text);
      part.appendChild(control);
      tools.appendChild(part);
    }
    search.type = "search";
    search.autocomplete = "off";
    label("Find a unit", search);
    function choose(key, text, options) {
      var select = make("select");
      select.add(new Option("all", ""));
      options.forEach(function (option) { select.add(new Option(option[1], option[0])); });
      select.addEventListener("change", function () { go({ page: 1 }, true); });
      selects[key] = select;
      label(text, select);
    }
    function used(name) { return words[name].filter(Boolean).map(function (one) { return [one, one]; }); }
    choose("vessel", "Vessel", data.vessels.map(function (vessel) { return [vessel[0], vessel[1]]; }));
    choose("agent", "Agent", used("agent"));
    choose("space", "Kind of space", used("kind"));
    choose("state", "State", data.states.filter(function (state) { return Object.keys(seen).some(function (bits) { return seen[bits].indexOf(state) >= 0; }); })
      .map(function (state) { return [state[0], state[0]]; }));
    output.setAttribute("aria-live", "polite");
    tools.appendChild(output);

    var scroll = make("div", undefined, "scroll"), table = make("table"), caption = make("span"), head = table.createTHead().insertRow();
    var body = table.createTBody(), strange = make("p", undefined, "note"), empty = make("p", undefined, "note empty"), all = make("button", "Show all", "button");
    var turn = make("nav", undefined, "turn"), before = make("button", "Lines before", "button"), after = make("button", "Lines after", "button");
    var save = make("button", "", "button");
    table.createCaption().appendChild(caption);
    caption.id = box.id + "-caption";
    scroll.setAttribute("role", "region");
    scroll.setAttribute("aria-labelledby", caption.id);
    scroll.tabIndex = 0;
    turn.setAttribute("aria-label", "Lines of the register");
    [before, after, save, all].forEach(function (button) { button.type = "button"; });
    scroll.appendChild(table);
    empty.appendChild(make("span", "No unit fits all of this. "));
    empty.appendChild(all);
    [before, after, save].forEach(function (button) { turn.appendChild(button); });
    [tools, strange, scroll, empty, turn].forEach(function (part) { box.appendChild(part); });

    var state = { sort: "", down: false, page: 1 }, found = [];
    COLUMNS.forEach(function (column) {
      var cell = make("th"), button = make("button", column[1]);
      cell.scope = "col";
      button.type = "button";
      cell.appendChild(button);
      if (column[0] === "rank") { cell.className = "right"; }
      head.appendChild(cell);
      button.addEventListener("click", function () { go({ sort: column[0], down: state.sort === column[0] && !state.down, page: 1 }, true); });
    });

    /* the address: #q=foam&vessel=9000003&sort=due&down&page=2 */
    function write() {
      var said = [];
      if (search.value.trim()) { said.push("q=" + encodeURIComponent(search.value.trim())); }
      Object.keys(selects).forEach(function (key) { if (selects[key].value) { said.push(key + "=" + encodeURIComponent(selects[key].value)); } });
      if (state.sort) { said.push("sort=" + state.sort); }
      if (state.down) { said.push("down"); }
      if (state.page > 1) { said.push("page=" + state.page); }
      return "#" + said.join("&");
    }
    function read() {
      var asked = {}, unknown = [];
      location.hash.slice(1).split("&").filter(function (pair) { return pair && pair !== "main"; }).forEach(function (pair) {
        var at = pair.indexOf("=");
        try { asked[at < 0 ? pair : pair.slice(0, at)] = at < 0 ? "" : decodeURIComponent(pair.slice(at + 1)); } catch (error) { unknown.push(pair); }
      });
      if (document.activeElement !== search || (asked.q || "") !== search.value.trim()) { search.value = asked.q || ""; }
      Object.keys(selects).forEach(function (key) {
        selects[key].value = asked[key] || "";
        if (selects[key].selectedIndex < 0) { selects[key].value = ""; unknown.push(key + " " + asked[key]); }
      });
      state.sort = COLUMNS.some(function (column) { return column[0] === asked.sort; }) ? asked.sort : "";
      state.down = "down" in asked && state.sort !== "";
      state.page = Math.max(1, parseInt(asked.page, 10) || 1);
      strange.hidden = !unknown.length;
      strange.textContent = unknown.length ? "The address asks for what these records don\u2019t have (" + unknown.join(", ") + "): there all are shown." : "";
    }
    function go(change, keep) {
      Object.assign(state, change);
      var address = write();
      if (address === (location.hash || "#")) { show(); return; }
      /* a letter typed leaves no page behind to go back to, a choice does */
      if (keep) { location.hash = address; } else { location.replace(address); }
    }

    function find() {
      var asked = search.value.toLowerCase().split(/\s+/).filter(Boolean), vessel = selects.vessel.selectedIndex - 1;
      var agent = selects.agent.value === "" ? -1 : words.agent.indexOf(selects.agent.value), kind = selects.space.value === "" ? -1 : words.kind.indexOf(selects.space.value);
      var bit = selects.state.value === "" ? 0 : 1 << data.states.map(function (one) { return one[0]; }).indexOf(selects.state.value), out = [];
      for (var i = 0; i < count; i += 1) {
        if ((vessel >= 0 && data.vessel[i] !== vessel) || (agent >= 0 && places.agent[i] !== agent) || (kind >= 0 && places.kind[i] !== kind) || (bit && !(data.state[i] & bit))) { continue; }
        var fits = true;
        for (var n = 0; n < asked.length && fits; n += 1) { fits = texts[i].indexOf(asked[n]) >= 0; }
        if (fits) { out.push(i); }
      }
      var by = COLUMNS.filter(function (column) { return column[0] === state.sort; })[0];
      if (by) {
        var keys = new Float64Array(count), sign = state.down ? -1 : 1;
        out.forEach(function (at) { var key = by[2](at); keys[at] = key === null ? Infinity : sign * key; });
        out.sort(function (a, b) { return keys[a] === keys[b] ? a - b : keys[a] - keys[b]; });
      }
      return out;
    }

    function show() {
      found = find();
      var pages = Math.max(1, Math.ceil(found.length / PER_PAGE));
      state.page = Math.min(state.page, pages);
      var first = (state.page - 1) * PER_PAGE, part = document.createDocumentFragment();
      found.slice(first, first + PER_PAGE).forEach(function (i) {
        var line = make("tr");
        cells(i).forEach(function (cell) { line.appendChild(cell); });
        part.appendChild(line);
      });
      body.textContent = "";
      body.appendChild(part);
      COLUMNS.forEach(function (column, n) {
        if (column[0] === state.sort) { head.cells[n].setAttribute("aria-sort", state.down ? "descending" : "ascending"); } else { head.cells[n].removeAttribute("aria-sort"); }
      });
      output.textContent = say(found.length) + " of " + say(count) + (count === 1 ? " unit" : " units");
      caption.textContent = found.length ? "Lines " + say(first + 1) + " to " + say(Math.min(found.length, first + PER_PAGE)) + " of " + say(found.length) : "No line";
      scroll.hidden = !found.length;
      empty.hidden = found.length > 0;
      turn.hidden = !found.length;
      before.disabled = state.page <= 1;
      after.disabled = state.page >= pages;
      save.textContent = "These " + say(found.length) + (found.length === 1 ? " unit" : " units") + " as CSV";
    }

    function writeCsv() {
      var lines = [["unit_id", "state", "vessel", "imo_number", "position_no", "space", "space_category", "agent", "charge", "made_on", "next_due_on", "next_duty", "watch_rank"]];
      found.forEach(function (i) {
        var vessel = data.vessels[data.vessel[i]];
        lines.push([data.unit[i], states(i).map(function (one) { return one[0]; }).join("; "), vessel[1], vessel[0], word("position", i), word("space", i), word("kind", i),
          word("agent", i), word("charge", i), made(i)[0].slice(0, made(i)[1].length === 4 ? 4 : /^\d/.test(made(i)[1]) ? 10 : 7), isoDay(data.due[i]), word("duty", i),
          data.rank[i] === null ? "" : String(data.rank[i])]);
      });
      return "\ufeff" + lines.map(function (line) { return line.map(guard).map(quote).join(","); }).join("\r\n") + "\r\n";
    }
    save.addEventListener("click", function () {
      var away = make("a");
      away.href = URL.createObjectURL(new Blob([writeCsv()], { type: "text/csv" }));
      away.download = "units.csv";
      away.click();
      setTimeout(function () { URL.revokeObjectURL(away.href); }, 1000);
    });
    before.addEventListener("click", function () { go({ page: state.page - 1 }, true); scroll.scrollIntoView(); });
    after.addEventListener("click", function () { go({ page: state.page + 1 }, true); scroll.scrollIntoView(); });
    all.addEventListener("click", function () {
      search.value = "";
      Object.keys(selects).forEach(function (key) { selects[key].value = ""; });
      go({ sort: "", down: false, page: 1 }, true);
      search.focus();
    });
    search.addEventListener("input", function () { go({ page: 1 }, false); });
    window.addEventListener("hashchange", function () { read(); show(); });
    read();
    show();
  }

  var script = make("script");
  script.src = box.dataset.parts;
  script.addEventListener("load", function () { start(window.firekpiParts); });
  script.addEventListener("error", function () { box.textContent = "The file " + box.dataset.parts + " is missing: copy the whole folder of the pages."; });
  document.head.appendChild(script);
})();
