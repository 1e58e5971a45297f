/* The register of all units: search, filters, sorting, pages of lines, and a CSV of what is found. In: the units as columns in a script file
   beside the pages. Out: a table; the state stands in the address, so that it can be sent. Nothing leaves the page. */
(function () {
  "use strict";
  var PER_PAGE = 100, MOST = 40, MOST_UNIT = 200, DAY = 86400000, NONE = "\u2013";
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

  /* as the other pages: no more of a name than a line can carry, and no mark that turns the letters beside it */
  var UNSHOWN = /[\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f-\u009f\u202a-\u202e\u2066-\u2069]/g;
  function cut(text, most) {
    var letters = text.length > most ? Array.from(text) : [];
    return (letters.length > most ? letters.slice(0, most - 1).join("").trimEnd() + "\u2026" : text).replace(UNSHOWN, "\ufffd");
  }

  /* what a spreadsheet would run gets an apostrophe, as in every CSV of the site */
  var FORMULA = /^[=+\-@\t\r\n\uff1d\uff0b\uff0d\uff20]/, NUMBER = /^[+-]?[0-9][0-9.,\t-\r\x1c- \x85\xa0\u1680\u2000-\u200a\u2028\u2029\u202f\u205f\u3000]*$/, GUARDED = /^'+[=+\-@\t\r\n\uff1d\uff0b\uff0d\uff20]/;
  function guard(cell) { return (FORMULA.test(cell) && !NUMBER.test(cell)) || GUARDED.test(cell) ? "'" + cell : cell; }
  function quote(cell) { return /[",\r\n]/.test(cell) ? "\"" + cell.replace(/"/g, "\"\"") + "\"" : cell; }

  function start(data) {
    var count = data.unit.length, words = data.words, places = data.places, texts;
    function word(name, i) { return words[name][places[name][i]]; }
    function made(i) { return word("made", i).split("|"); }
    var seen = {};
    function states(i) {
      var bits = data.state[i];
      if (!seen[bits]) { seen[bits] = data.states.filter(function (state, bit) { return bits >> bit & 1; }); }
      return seen[bits];
    }
    function sayStates(i) { return states(i).map(function (state) { return state[0]; }).join(", "); }
    /* what is searched; made when the first lines stand, so that a large register opens at once */
    function makeTexts() {
      if (texts) { return; }
      texts = new Array(count);
      for (var i = 0; i < count; i += 1) {
        texts[i] = [data.unit[i], data.vessels[data.vessel[i]].slice(0, 2).join(" "), word("position", i), word("space", i), word("kind", i), word("agent", i),
          word("charge", i), sayStates(i), word("late", i)].map(function (one) { return " " + one; }).join("\n").toLowerCase().replace(/\u202f|\u00a0/g, " ");
      }
    }
    /* words that are all looked for; '9 l' is one, and no part of '19 l' */
    function split(said) {
      return said.toLowerCase().replace(/(\d)[\s\u00a0]+(l|kg)(?=\s|$)/g, "$1\u00a0$2").split(/[ \t\n]+/).filter(Boolean)
        .map(function (word) { return word.indexOf("\u00a0") < 0 ? word : " " + word.replace("\u00a0", " "); });
    }
    for (var n = 0; n < count; n += 1) { states(n); }

    /* columns: heading, what it sorts by, its cell */
    var COLUMNS = [
      ["unit", "Unit", function (i) { return data.order[i]; }],
      ["state", "State", function (i) { return states(i).length && Math.log2(data.state[i] & -data.state[i]); }],
      ["vessel", "Vessel", function (i) { return data.vessel[i]; }],
      ["position", "Position", function (i) { return places.position[i]; }],
      ["space", "Space", function (i) { return places.space[i]; }],
      ["agent", "Agent, charge", function (i) { return places.agent[i] * words.charge.length + places.charge[i]; }],
      ["made", "Made", function (i) { return made(i)[0] ? places.made[i] : null; }],
      ["due", "Next due", function (i) { return data.due[i]; }],
      ["rank", "Watch list", function (i) { return data.rank[i]; }]
    ];
    var orders = {};
    /* all units by a column: ties as they stand in the register, what is not known last. Key and unit are packed into one number, since numbers sort fastest */
    function order(name, down) {
      var column = COLUMNS.filter(function (one) { return one[0] === name; })[0], said = name + down;
      if (column && !orders[said]) {
        var keys = new Float64Array(count), least = Infinity, most = -Infinity;
        for (var i = 0; i < count; i += 1) {
          var key = column[2](i);
          keys[i] = key === null ? NaN : key;
          if (key !== null) { least = Math.min(least, key); most = Math.max(most, key); }
        }
        if (most < least) { least = most = 0; }
        keys = keys.map(function (key, i) { return (isNaN(key) ? most - least + 1 : down ? most - key : key - least) * count + i; }).sort();
        orders[said] = keys.map(function (key) { return key % count; });
      }
      return orders[said];
    }
    function link(text, href) {
      var part = make("a", text);
      part.href = href;
      return part;
    }
    function cells(i) {
      var vessel = data.vessels[data.vessel[i]], head = make("th", undefined, "unit"), state = make("td"), out = [head, state];
      var whole = make("span", undefined, "whole");
      head.scope = "row";
      whole.appendChild(link(cut(data.unit[i], MOST_UNIT), "unit/" + (data.pages[i] || data.unit[i].toLowerCase()) + ".html"));
      head.appendChild(whole);
      states(i).forEach(function (one, n) {
        var mark = make("span", undefined, "state " + (one[1] || "few")), shape = make("i", undefined, "shape");
        shape.setAttribute("aria-hidden", "true");
        if (one[1]) { mark.appendChild(shape); }
        mark.appendChild(document.createTextNode(one[0] === "overdue" ? "overdue for " + word("late", i).replace(/; /g, ", ") : one[0]));
        if (n) { state.appendChild(document.createTextNode(" ")); }
        state.appendChild(mark);
      });
      var where = make("td", vessel[2] ? undefined : cut(vessel[1], MOST), "link");
      if (vessel[2]) { where.appendChild(link(cut(vessel[1], MOST), "vessel/" + vessel[0] + ".html")); }
      out.push(where, make("td", cut(word("position", i), MOST) || NONE, "code"), make("td", cut(word("space", i), MOST) || NONE));
      out.push(make("td", cut(word("agent", i) + ", " + word("charge", i), MOST_UNIT), "agent"), make("td", made(i)[1] || NONE, "date"));
      out.push(make("td", data.due[i] === null ? NONE : (data.due[i] < data.as_of ? "was due " : "") + sayDay(data.due[i]) + ", " + word("duty", i), "due"));
      out.push(make("td", data.rank[i] === null ? NONE : say(data.rank[i]), "right"));
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
      options.forEach(function (option) { select.add(new Option(cut(option[1], 2 * MOST), option[0])); });
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
    var save = make("button", "", "button"), past = make("button", "Past the lines of this page", "past button");
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
    past.type = "button";
    past.addEventListener("click", function () { (after.disabled ? before.disabled ? save : before : after).focus(); });
    [tools, strange, past, scroll, empty, turn].forEach(function (part) { box.appendChild(part); });

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
      location.hash.slice(1).split("&").filter(Boolean).forEach(function (pair) {
        var at = pair.indexOf("=");
        try { asked[at < 0 ? pair : pair.slice(0, at)] = at < 0 ? "" : decodeURIComponent(pair.slice(at + 1)); } catch (error) { unknown.push(pair); }
      });
      if (document.activeElement !== search || (asked.q || "") !== search.value.trim()) { search.value = asked.q || ""; }
      Object.keys(selects).forEach(function (key) {
        selects[key].value = asked[key] || "";
        if (selects[key].selectedIndex < 0) { selects[key].value = ""; unknown.push(key + " " + asked[key]); }
      });
      Object.keys(asked).forEach(function (key) { if (["q", "sort", "down", "page"].indexOf(key) < 0 && !selects[key]) { unknown.push(key); } });
      state.sort = COLUMNS.some(function (column) { return column[0] === asked.sort; }) ? asked.sort : "";
      if ("sort" in asked && !state.sort) { unknown.push("sort " + asked.sort); }
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
      var by = order(state.sort, state.down), asked = split(search.value), vessel = selects.vessel.selectedIndex - 1;
      var agent = selects.agent.value === "" ? -1 : words.agent.indexOf(selects.agent.value), kind = selects.space.value === "" ? -1 : words.kind.indexOf(selects.space.value);
      var bit = selects.state.value === "" ? 0 : 1 << data.states.map(function (one) { return one[0]; }).indexOf(selects.state.value), out = [];
      if (asked.length) { makeTexts(); }
      for (var at = 0; at < count; at += 1) {
        var i = by ? by[at] : at;
        if ((vessel >= 0 && data.vessel[i] !== vessel) || (agent >= 0 && places.agent[i] !== agent) || (kind >= 0 && places.kind[i] !== kind) || (bit && !(data.state[i] & bit))) { continue; }
        var fits = true;
        for (var n = 0; n < asked.length && fits; n += 1) { fits = texts[i].indexOf(asked[n]) >= 0; }
        if (fits) { out.push(i); }
      }
      return out;
    }

    /* 'found by “foam”, state overdue, sorted by next due': on paper the lines stand without the controls */
    function tell() {
      var said = search.value.trim() ? ["found by \u201c" + cut(search.value.trim(), MOST) + "\u201d"] : [];
      Object.keys(selects).forEach(function (key) {
        var select = selects[key];
        if (select.value) { said.push(select.labels[0].firstChild.data.toLowerCase() + " " + select.options[select.selectedIndex].text); }
      });
      COLUMNS.forEach(function (column) { if (column[0] === state.sort) { said.push("sorted by " + column[1].toLowerCase() + (state.down ? " from the last" : "")); } });
      return said.length ? ": " + said.join(", ") : "";
    }

    function show() {
      found = find();
      var pages = Math.max(1, Math.ceil(found.length / PER_PAGE)), wanted = state.page;
      state.page = Math.min(state.page, pages);
      if (wanted !== state.page) { history.replaceState(null, "", write()); }
      var first = (state.page - 1) * PER_PAGE, part = document.createDocumentFragment();
      found.slice(first, first + PER_PAGE).forEach(function (i) {
        var line = make("tr");
        cells(i).forEach(function (cell) { line.appendChild(cell); });
        part.appendChild(line);
      });
      var wasIn = body.contains(document.activeElement);
      body.textContent = "";
      body.appendChild(part);
      if (wasIn && body.querySelector("a")) { body.querySelector("a").focus(); }
      /* a word that no column of a sheet of paper holds: there it may break anywhere */
      Array.prototype.forEach.call(body.querySelectorAll("th, td"), function (cell) { cell.classList.toggle("endless", /\S{21}/.test(cell.textContent)); });
      COLUMNS.forEach(function (column, n) {
        if (column[0] === state.sort) { head.cells[n].setAttribute("aria-sort", state.down ? "descending" : "ascending"); } else { head.cells[n].removeAttribute("aria-sort"); }
      });
      output.textContent = say(found.length) + " of " + say(count) + (count === 1 ? " unit" : " units");
      caption.textContent = found.length ? "Lines " + say(first + 1) + " to " + say(Math.min(found.length, first + PER_PAGE)) + " of " + say(found.length) + tell() : "No line";
      scroll.hidden = past.hidden = !found.length;
      empty.hidden = found.length > 0;
      turn.hidden = !found.length;
      /* a button that has nothing more to turn to hands the focus to the other */
      var held = document.activeElement;
      before.disabled = state.page <= 1;
      after.disabled = state.page >= pages;
      if (held === before && before.disabled) { after.focus(); }
      if (held === after && after.disabled) { before.focus(); }
      save.textContent = "These " + say(found.length) + (found.length === 1 ? " unit" : " units") + " as CSV";
    }

    function writeCsv() {
      var lines = [["unit_id", "state", "overdue_duties", "vessel", "imo_number", "position_no", "space", "space_category", "agent", "charge", "made_on", "next_due_on", "next_duty", "watch_rank"]];
      found.forEach(function (i) {
        var vessel = data.vessels[data.vessel[i]];
        lines.push([data.unit[i], states(i).map(function (one) { return one[0]; }).join("; "), word("late", i), vessel[1], vessel[0], word("position", i), word("space", i), word("kind", i),
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
    search.addEventListener("keydown", function (event) {
      if (event.key !== "Enter") { return; }
      state.page = 1;
      show();
      if (found.length) { body.querySelector("a").focus(); }
    });
    window.addEventListener("hashchange", function () {
      /* a link to a place of the page (the skip link) changes nothing of what is shown: the address says it again */
      if (document.getElementById(location.hash.slice(1))) { history.replaceState(null, "", write()); return; }
      read();
      show();
    });
    read();
    show();
    setTimeout(makeTexts, 200);
  }

  var script = make("script");
  script.src = box.dataset.parts;
  script.addEventListener("load", function () { start(window.firekpiParts); });
  script.addEventListener("error", function () { box.textContent = "The file " + box.dataset.parts + " is missing: copy the whole folder of the pages."; });
  document.head.appendChild(script);
})();
