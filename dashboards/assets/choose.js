/* Adds up a part of the fleet that the reader chooses. In: the numbers of a page by month, vessel, agent and space, in a script file beside
   the pages. Out: a sentence and a table; the choice stands in the address, so that it can be sent. Nothing leaves the page. */
(function () {
  "use strict";
  var AT_ONCE = 500000; /* bytes that load with the page; more waits to be asked for */
  var ORDER = ["vessel", "agent", "space", "kind", "age", "month"];
  var THIN = "\u202f", NONE = "\u2013", Z = 1.959963984540054, FEW = 10;
  var boxes = document.querySelectorAll(".choose");
  if (!boxes.length || !document.documentElement.classList.contains("scripted")) { return; }

  function make(tag, text, name) {
    var part = document.createElement(tag);
    if (text !== undefined) { part.textContent = text; }
    if (name) { part.className = name; }
    return part;
  }
  function say(number, places) {
    return number.toLocaleString("en-GB", { minimumFractionDigits: places || 0, maximumFractionDigits: places || 0 });
  }
  function percent(count, of) { return of ? say(100 * count / of, 1) + THIN + "%" : NONE; }

  /* limits of a share: Wilson 1927; of a count: Garwood 1936 as a table made by the build, beyond it Byar's approximation */
  function wilson(count, of) {
    var p = count / of, d = 1 + Z * Z / of, mid = (p + Z * Z / (2 * of)) / d;
    var half = Z * Math.sqrt(p * (1 - p) / of + Z * Z / (4 * of * of)) / d;
    return [Math.max(0, mid - half), Math.min(1, mid + half)];
  }
  function garwood(count, limits) {
    if (count < limits.low.length) { return [limits.low[count], limits.high[count]]; }
    var n = count + 1;
    return [count * Math.pow(1 - 1 / (9 * count) - Z / (3 * Math.sqrt(count)), 3), n * Math.pow(1 - 1 / (9 * n) + Z / (3 * Math.sqrt(n)), 3)];
  }

  /* what each page counts: columns of the table, and the sentence */
  var KINDS = {
    overdue: {
      heads: ["Unit-days overdue", "Unit-days in service", "Share overdue"],
      cells: function (s) { return [say(s.overdue_unit_days), say(s.unit_days), percent(s.overdue_unit_days, s.unit_days)]; },
      size: function (s) { return s.unit_days ? s.overdue_unit_days / s.unit_days : 0; },
      count: function (s) { return s.overdue_unit_days; },
      some: function (s) { return s.unit_days > 0; },
      tell: function (s, end) {
        return percent(s.overdue_unit_days, s.unit_days) + " of unit-days overdue (" + say(s.overdue_unit_days) + " of " + say(s.unit_days) + "). On " +
          end.day + ", " + say(end.overdue) + " of " + say(end.units) + (end.units === 1 ? " unit" : " units") + (end.overdue === 1 ? " was" : " were") + " overdue.";
      }
    },
    defects: {
      heads: ["Defects found", "Unit-years watched", "Per 100 unit-years (95" + THIN + "% interval)"],
      cells: function (s, limits) { return [say(s.findings), say(s.unit_days / 365.25, 1), rate(s, limits)]; },
      size: function (s) { return s.unit_days && s.findings >= FEW ? s.findings / s.unit_days : 0; },
      count: function (s) { return s.findings; },
      some: function (s) { return s.unit_days > 0 || s.findings > 0; },
      tell: function (s, end, limits) {
        return say(s.findings) + (s.findings === 1 ? " defect" : " defects") + " found in " + say(s.unit_days / 365.25, 1) + " unit-years: " +
          (s.findings < FEW || !s.unit_days ? "too few to rate." : rate(s, limits) + " per 100 unit-years.");
      }
    },
    corrosion: {
      heads: ["Corrosion ever found", "Units looked at", "Share (95" + THIN + "% interval)"],
      cells: function (s) { return [say(s.units_corroded), say(s.units), share(s)]; },
      size: function (s) { return s.units >= FEW ? s.units_corroded / s.units : 0; },
      count: function (s) { return s.units_corroded; },
      some: function (s) { return s.units > 0; },
      tell: function (s) {
        return "corrosion was ever found on " + say(s.units_corroded) + " of " + say(s.units) + (s.units === 1 ? " unit" : " units") +
          (s.units < FEW ? ": too few to rate." : ": " + share(s) + ".");
      }
    },
    agents: {
      heads: ["Units in service", "Share of those chosen"],
      cells: function (s, limits, all) { return [say(s.units), percent(s.units, all.units)]; },
      size: function (s, all) { return all.units ? s.units / all.units : 0; },
      count: function (s) { return s.units; },
      some: function (s) { return s.units > 0; },
      tell: function (s) { return say(s.units) + (s.units === 1 ? " unit" : " units") + " in service."; }
    }
  };
  function rate(s, limits) {
    if (s.findings < FEW || !s.unit_days) { return "too few to rate"; }
    var per = 36525 / s.unit_days, both = garwood(s.findings, limits);
    return say(s.findings * per, 1) + " (" + say(both[0] * per, 1) + " to " + say(both[1] * per, 1) + ")";
  }
  function share(s) {
    if (s.units < FEW) { return "too few to rate"; }
    var both = wilson(s.units_corroded, s.units);
    return percent(s.units_corroded, s.units) + " (" + say(100 * both[0], 1) + " to " + say(100 * both[1], 1) + ")";
  }

  /* rows that the choice leaves, added up by one dimension (or as a whole); rows of a set that lacks a dimension count in each of its groups */
  function add(sets, chosen, by) {
    var groups = {};
    sets.forEach(function (set) {
      var keys = Object.keys(set.keys).filter(function (key) { return chosen[key]; }), names = Object.keys(set.values), groupBy = set.keys[by];
      for (var i = 0; i < set.length; i += 1) {
        if (!keys.every(function (key) { return chosen[key](set.keys[key][i]); })) { continue; }
        var group = groupBy ? groupBy[i] : -1, sums = groups[group] || (groups[group] = {});
        for (var n = 0; n < names.length; n += 1) { sums[names[n]] = (sums[names[n]] || 0) + set.values[names[n]][i]; }
      }
    });
    return groups;
  }

  function start(box, parts) {
    var kind = KINDS[parts.kind], dimensions = parts.dimensions, keys = ORDER.filter(function (key) { return dimensions[key]; });
    var zero = {}, controls = {};
    parts.sets.forEach(function (set) {
      set.length = set.keys[Object.keys(set.keys)[0]].length;
      Object.keys(set.values).forEach(function (name) { zero[name] = 0; });
    });
    function fill(sums) { return Object.assign({}, zero, sums); }

    /* controls */
    var tools = make("div", undefined, "tools");
    function control(key, text, options) {
      var select = make("select");
      options.forEach(function (option) { select.add(new Option(option[1], option[0])); });
      var label = make("label", text);
      label.appendChild(select);
      tools.appendChild(label);
      select.addEventListener("change", function () { location.hash = write(); });
      controls[key] = select;
    }
    keys.forEach(function (key) {
      var d = dimensions[key];
      if (key === "month") { control(key, d.label, parts.periods.map(function (p) { return [p.id, p.name]; })); } else {
        control(key, d.label, [["", "all"]].concat(d.ids.map(function (id, i) { return [id, d.names[i]]; })));
      }
    });
    control("by", "Compare by", keys.map(function (key) { return [key, dimensions[key].one]; }));
    var told = make("p", undefined, "part"), strange = make("p", undefined, "note"), scroll = make("div", undefined, "scroll");
    var table = make("table"), caption = make("span"), head = table.createTHead().insertRow(), body = table.createTBody();
    table.createCaption().appendChild(caption);
    caption.id = box.id + "-caption";
    told.setAttribute("role", "status");
    scroll.setAttribute("role", "region");
    scroll.setAttribute("aria-labelledby", caption.id);
    scroll.tabIndex = 0;
    strange.hidden = true;
    scroll.appendChild(table);
    box.textContent = "";
    [tools, strange, told, scroll].forEach(function (part) { box.appendChild(part); });

    /* the address: #choose&vessel=9000003&agent=foam */
    function write() {
      var said = Object.keys(controls).filter(function (key) { return controls[key].value !== standard(key); }).map(function (key) {
        return key + "=" + encodeURIComponent(controls[key].value);
      });
      return ["choose"].concat(said).join("&");
    }
    function standard(key) { return key === "by" ? parts.by : key === "month" ? parts.periods[0].id : ""; }
    function read() {
      var asked = {}, unknown = [];
      if (/^#choose(&|$)/.test(location.hash)) {
        location.hash.slice(8).split("&").filter(Boolean).forEach(function (pair) {
          var at = pair.indexOf("=");
          try { asked[pair.slice(0, at)] = decodeURIComponent(pair.slice(at + 1)); } catch (error) { unknown.push(pair); }
        });
      }
      Object.keys(controls).forEach(function (key) {
        var wanted = asked[key] === undefined ? standard(key) : asked[key];
        controls[key].value = wanted;
        if (controls[key].selectedIndex < 0) {
          controls[key].value = standard(key);
          unknown.push(key + " " + wanted);
        }
        delete asked[key];
      });
      unknown = unknown.concat(Object.keys(asked));
      strange.hidden = !unknown.length;
      strange.textContent = unknown.length ? "The address asks for what these records don\u2019t have (" + unknown.join(", ") + "): there all are shown." : "";
    }

    function pick() {
      var chosen = {}, said = [];
      keys.forEach(function (key) {
        var value = controls[key].value;
        if (key === "month") {
          var period = parts.periods[controls[key].selectedIndex];
          chosen[key] = function (month) { return month >= period.from && month <= period.to; };
        } else if (value !== "") {
          var at = dimensions[key].ids.indexOf(value);
          chosen[key] = function (index) { return index === at; };
          said.push(dimensions[key].names[at]);
        }
      });
      return { filters: chosen, said: said.length ? said.join(", ").charAt(0).toUpperCase() + said.join(", ").slice(1) : "Whole fleet", period: parts.periods.length ? parts.periods[controls.month.selectedIndex] : null };
    }

    function endOf(choice) {
      if (!choice.period || parts.kind !== "overdue") { return null; }
      var last = Object.assign({}, choice.filters, { month: function (month) { return month === choice.period.to; } });
      var sums = fill(add(parts.sets, last, "")[-1]);
      return { day: parts.month_ends[choice.period.to], units: sums.units, overdue: sums.overdue };
    }

    function bar(value, most) {
      var cell = make("td", undefined, "measure"), mark = make("span");
      mark.style.width = (most ? 100 * value / most : 0).toFixed(1) + "%";
      mark.setAttribute("aria-hidden", "true");
      cell.appendChild(mark);
      return cell;
    }

    function show() {
      var choice = pick(), by = controls.by.value, d = dimensions[by], all = fill(add(parts.sets, choice.filters, "")[-1]);
      var when = choice.period ? ", " + choice.period.name : "";
      told.textContent = kind.some(all) ? choice.said + when + ": " + kind.tell(all, endOf(choice), parts.limits)
        : choice.said + when + ": nothing to count. Choose fewer things at once.";
      caption.textContent = choice.said + when + ", by " + d.one;
      /* what a set lacks is in every group: unit-years have no kind of defect */
      var groups = add(parts.sets, choice.filters, by), shared = groups[-1] || {};
      delete groups[-1];
      var rows = Object.keys(groups).map(Number).map(function (at) { return { at: at, sums: fill(Object.assign({}, shared, groups[at])) }; });
      rows = rows.filter(function (row) { return kind.some(row.sums); });
      var sizes = rows.map(function (row) { return kind.size(row.sums, all); }), most = Math.max.apply(null, sizes.concat([0]));
      rows.forEach(function (row, i) { row.size = sizes[i]; });
      rows.sort(function (a, b) { return d.is_ordered ? a.at - b.at : b.size - a.size || kind.count(b.sums) - kind.count(a.sums) || a.at - b.at; });
      head.textContent = "";
      [d.head].concat(kind.heads).forEach(function (text, i) {
        var cell = make("th", text, i ? "right" : "");
        cell.scope = "col";
        head.appendChild(cell);
      });
      if (most) { head.appendChild(make("td")); }
      var part = document.createDocumentFragment();
      rows.forEach(function (row) {
        var line = make("tr"), name = make("th", d.names[row.at]);
        name.scope = "row";
        line.appendChild(name);
        kind.cells(row.sums, parts.limits, all).forEach(function (text) { line.appendChild(make("td", text, "right")); });
        if (most) { line.appendChild(bar(row.size, most)); }
        part.appendChild(line);
      });
      body.textContent = "";
      body.appendChild(part);
      scroll.hidden = !rows.length;
    }
    window.addEventListener("hashchange", function () { read(); show(); });
    read();
    show();
    if (/^#choose(&|$)/.test(location.hash)) { box.closest("section").scrollIntoView(); }
  }

  Array.prototype.forEach.call(boxes, function (box) {
    function load() {
      var script = make("script");
      script.src = box.dataset.parts;
      script.addEventListener("load", function () { start(box, window.firekpiParts); });
      script.addEventListener("error", function () { box.textContent = "The file " + box.dataset.parts + " is missing: copy the whole folder of the pages."; });
      document.head.appendChild(script);
    }
    if (Number(box.dataset.bytes) <= AT_ONCE || /^#choose&/.test(location.hash)) { load(); return; }
    var button = make("button", "Choose vessel, agent, space and period (reads " + say(box.dataset.bytes / 1e6, 1) + " MB)", "button");
    button.type = "button";
    button.addEventListener("click", load);
    box.appendChild(button);
  });
})();
