/* Draws the charts and gives registers a search, filters and sorting. In: the page. Out: nothing leaves the page. */
(function () {
  "use strict";
  var root = document.documentElement;
  root.classList.add("scripted");
  var PRINT_WIDTH = 670; /* fits A4 upright with our margins */
  var NARROW = 520, NARROW_NAME = 24, NARROW_CUT = 15, PANEL_WIDTH = 240, PANEL_HEIGHT = 165;
  var FRAME = 60, DIGIT = 0.6, LEAST_SIZE = 8, MOST_SIZE = 12; /* of columns: pixels beside them, width of a digit in em, sizes */
  var CONFIG = { displayModeBar: false, doubleClick: false, scrollZoom: false, showTips: false };

  var printing = false;

  /* charts */
  function resolve(value, styles) {
    if (typeof value === "string") {
      return value.slice(0, 6) === "var(--" ? styles.getPropertyValue(value.slice(4, -1)).trim() : value;
    }
    if (Array.isArray(value)) { return value.map(function (part) { return resolve(part, styles); }); }
    if (value && typeof value === "object") {
      var copy = {};
      Object.keys(value).forEach(function (key) { copy[key] = resolve(value[key], styles); });
      return copy;
    }
    return value;
  }

  function axis(layout, letter, number) { return layout[letter + "axis" + (number === 1 ? "" : number)]; }

  /* small multiples: as many panels side by side as the width takes, all of one size */
  function arrange(layout, width) {
    var count = layout.meta.panels, margin = layout.margin;
    var columns = Math.max(1, Math.min(count, Math.floor((width - 20) / PANEL_WIDTH)));
    columns = Math.ceil(count / Math.ceil(count / columns));
    var rows = Math.ceil(count / columns), inner = width - margin.l - margin.r;
    layout.height = rows * PANEL_HEIGHT + margin.t + margin.b;
    var tall = layout.height - margin.t - margin.b;
    for (var i = 0; i < count; i += 1) {
      var column = i % columns, row = Math.floor(i / columns);
      var left = column / columns + 42 / inner, right = (column + 1) / columns - 14 / inner;
      var top = 1 - row / rows - (row ? 24 / tall : 0), bottom = 1 - (row + 1) / rows + (row < rows - 1 ? 28 / tall : 0);
      axis(layout, "x", i + 1).domain = [left, right];
      axis(layout, "y", i + 1).domain = [bottom, top];
      layout.annotations[i].x = left;
      layout.annotations[i].y = top;
    }
  }

  /* names beside bars and points, cut where they would take more than half a phone */
  var ENTITIES = { "&lt;": "<", "&gt;": ">", "&amp;": "&" };
  function toText(name) { return name.replace(/&(lt|gt|amp);/g, function (entity) { return ENTITIES[entity]; }); }
  function toMarkup(text) { return text.replace(/&/g, "&amp;").replace(/</g, "&lt;").replace(/>/g, "&gt;"); }
  function shorten(figure) {
    var names = [];
    figure.data.forEach(function (trace) {
      (trace.y || []).forEach(function (name) { if (typeof name === "string" && names.indexOf(name) < 0) { names.push(name); } });
    });
    if (!names.some(function (name) { return toText(name).length > NARROW_NAME; })) { return; }
    figure.layout.yaxis.tickmode = "array";
    figure.layout.yaxis.tickvals = names;
    figure.layout.yaxis.ticktext = names.map(function (name) {
      return toText(name).length > NARROW_NAME ? toMarkup(toText(name).slice(0, NARROW_CUT)) + "\u2026" : name;
    });
  }

  /* numbers on top of columns: all in one size, the largest at which the longest fits its column; too small to read,
     the highest and the last stand alone (the table below has them all) */
  function sizeNumbers(figure, width) {
    var bar = figure.data[0], said = bar.text, longest = Math.max.apply(null, said.map(function (text) { return text.length; }));
    var size = Math.floor(((width - FRAME) / said.length - 1) / (DIGIT * Math.max(longest, 1)));
    if (size < LEAST_SIZE) {
      var top = bar.y.indexOf(Math.max.apply(null, bar.y));
      bar.text = said.map(function (text, i) { return i === top || i === said.length - 1 ? text : ""; });
      size = MOST_SIZE;
    }
    bar.textfont = { size: Math.min(size, MOST_SIZE) };
  }

  /* what a chart must give up on a phone, and on paper */
  function fit(figure, width) {
    var layout = figure.layout, meta = layout.meta, narrow = width < NARROW;
    if (narrow && meta.texts !== undefined) {
      var said = figure.data[meta.texts];
      said.x = said.x.map(function () { return 0; });
      said.text = said.text.map(function (words) { return words + "<br><span style=\"font-size:7px\"> </span>"; });
      said.textposition = "top right";
      layout.margin.r = 16;
      layout.height += 18 * said.y.length;
      layout.yaxis.range = [-0.5, said.y.length - 0.15];
    }
    if (meta.ticks) {
      sizeNumbers(figure, width);
      layout.xaxis.ticktext = width / meta.ticks.long.length < 42 ? meta.ticks.short : meta.ticks.long;
    }
    if (narrow && !meta.panels) { shorten(figure); }
    if (narrow && layout.xaxis.type === "date") { layout.xaxis.nticks = 4; }
    if (printing && meta.print_height) { layout.height = meta.print_height; }
    if (meta.panels) { arrange(layout, width); }
  }

  function draw(chart, width) {
    var styles = getComputedStyle(root), figure = resolve(chart.figure, styles), layout = figure.layout;
    var ink = styles.getPropertyValue("--ink").trim(), ground = styles.getPropertyValue("--ground").trim();
    layout.width = width;
    layout.font = { family: getComputedStyle(document.body).fontFamily, size: 13, color: ink };
    layout.hoverlabel = { bgcolor: ground, bordercolor: styles.getPropertyValue("--limit").trim(), font: { color: ink } };
    fit(figure, width);
    chart.width = width;
    Plotly.react(chart.box, figure.data, layout, CONFIG);
    chart.box.classList.add("drawn");
  }

  var charts = Array.prototype.map.call(document.querySelectorAll("script[data-chart]"), function (script) {
    return { box: document.getElementById(script.dataset.chart), figure: JSON.parse(script.textContent), width: 0 };
  });
  function drawAll(width) { charts.forEach(function (chart) { draw(chart, width || chart.box.clientWidth); }); }

  function startPrint() {
    if (printing) { return; }
    printing = true;
    root.classList.add("printing");
    drawAll(PRINT_WIDTH);
  }

  function endPrint() {
    if (!printing) { return; }
    printing = false;
    root.classList.remove("printing");
    drawAll();
  }

  if (window.Plotly || !charts.length) { /* a page without a chart opens without the library */
    drawAll();
    new ResizeObserver(function () {
      if (printing) { return; }
      charts.forEach(function (chart) {
        var width = chart.box.clientWidth;
        if (width && Math.abs(width - chart.width) > 1) { draw(chart, width); }
      });
    }).observe(document.getElementById("main"));
    window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", function () { drawAll(printing && PRINT_WIDTH); });
    window.matchMedia("print").addEventListener("change", function (event) { (event.matches ? startPrint : endPrint)(); });
    window.addEventListener("beforeprint", startPrint);
    window.addEventListener("afterprint", endPrint);
  } else {
    root.classList.remove("scripted");
  }

  /* without script every table of numbers stands open; with it they are folded below their charts */
  Array.prototype.forEach.call(document.querySelectorAll("details.twin, details.fold"), function (box) { box.open = false; });

  /* a table wider than its room says so */
  var boxes = Array.prototype.map.call(document.querySelectorAll(".scroll"), function (box) {
    var hint = document.createElement("p");
    hint.className = "hint";
    hint.textContent = "More columns to the right: scroll the table sideways \u2192";
    hint.hidden = true;
    box.before(hint);
    return { box: box, hint: hint };
  });
  function measure() {
    boxes.forEach(function (one) { one.hint.hidden = one.box.scrollWidth <= one.box.clientWidth + 4; });
  }
  measure();
  window.addEventListener("resize", measure);
  document.addEventListener("toggle", measure, true);

  /* registers */
  function keyOf(row, column) {
    var cell = row.cells[column];
    return cell.dataset.sort === undefined ? cell.textContent.trim() : cell.dataset.sort;
  }

  function compare(a, b) {
    if (a === "" || b === "") { return (a === "") - (b === ""); }
    var x = Number(a), y = Number(b);
    return isNaN(x) || isNaN(y) ? a.localeCompare(b, "en", { numeric: true }) : x - y;
  }

  function addSorting(table) {
    var heads = Array.prototype.slice.call(table.tHead.rows[0].cells);
    heads.forEach(function (head, column) {
      var button = document.createElement("button");
      button.type = "button";
      button.textContent = head.textContent;
      head.textContent = "";
      head.appendChild(button);
      button.addEventListener("click", function () {
        var down = head.getAttribute("aria-sort") === "ascending";
        var rows = Array.prototype.slice.call(table.tBodies[0].rows);
        rows.sort(function (a, b) {
          var x = keyOf(a, column), y = keyOf(b, column);
          return x === "" || y === "" || !down ? compare(x, y) : -compare(x, y);
        });
        heads.forEach(function (other) { other.removeAttribute("aria-sort"); });
        head.setAttribute("aria-sort", down ? "descending" : "ascending");
        rows.forEach(function (row) { table.tBodies[0].appendChild(row); });
      });
    });
  }

  function label(text, control) {
    var box = document.createElement("label");
    box.appendChild(document.createTextNode(text));
    box.appendChild(control);
    return box;
  }

  function addTools(table) {
    var rows = Array.prototype.slice.call(table.tBodies[0].rows), tools = document.createElement("div");
    var search = document.createElement("input"), count = document.createElement("output"), choices = [];
    tools.className = "tools";
    search.type = "search";
    search.autocomplete = "off";
    tools.appendChild(label("Find in this list", search));
    Array.prototype.forEach.call(table.tHead.rows[0].cells, function (head, column) {
      if (!head.hasAttribute("data-filter")) { return; }
      var select = document.createElement("select"), seen = {};
      select.add(new Option("all", ""));
      rows.forEach(function (row) { seen[row.cells[column].textContent.trim()] = true; });
      Object.keys(seen).sort().forEach(function (word) { select.add(new Option(word, word)); });
      choices.push({ select: select, column: column });
      tools.appendChild(label(head.textContent, select));
    });
    function apply() {
      var words = search.value.toLowerCase().split(/\s+/).filter(Boolean), shown = 0;
      rows.forEach(function (row) {
        var text = row.textContent.toLowerCase();
        var fits = words.every(function (word) { return text.indexOf(word) >= 0; }) && choices.every(function (choice) {
          return !choice.select.value || row.cells[choice.column].textContent.trim() === choice.select.value;
        });
        row.hidden = !fits;
        shown += fits ? 1 : 0;
      });
      count.textContent = shown + " of " + rows.length + " shown";
    }
    search.addEventListener("input", apply);
    choices.forEach(function (choice) { choice.select.addEventListener("change", apply); });
    count.setAttribute("aria-live", "polite");
    tools.appendChild(count);
    table.closest(".scroll").before(tools);
    apply();
  }

  Array.prototype.forEach.call(document.querySelectorAll("table[data-register]"), function (table) {
    addTools(table);
    addSorting(table);
  });
})();
