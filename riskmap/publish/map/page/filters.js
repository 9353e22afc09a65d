/* "Show only": which parcels pass, from the fields of the panel. */
(function (county) {
  "use strict";

  const FIELDS = ["class", "stage", "score_from", "score_to", "kind", "service", "zone", "neighborhood",
    "age_from", "age_to"];
  const field = (name) => county.element("filter-" + name);

  function options(select, column) {
    const seen = new Set(column.codes());
    const words = column.words().filter((_, index) => seen.has(index + 1));
    words.slice().sort((a, b) => a.localeCompare(b, "en")).forEach(function (word) {
      const option = county.make("option", "", word);
      option.value = word;
      select.appendChild(option);
    });
    if (seen.has(0)) {
      const option = county.make("option", "", "(not recorded)");
      option.value = "\u0000";
      select.appendChild(option);
    }
  }

  /* Text columns that were packed as patterns are coded once, when a filter needs them. */
  function asCodes(column) {
    if (column.about.kind !== "text") return column;
    const words = [], numbers = new Map();
    const codes = Uint32Array.from(column.lines(), function (word) {
      if (word === "") return 0;
      if (!numbers.has(word)) numbers.set(word, words.push(word));
      return numbers.get(word);
    });
    return { words: () => words, codes: () => codes };
  }

  function codeOf(column, word) {
    return word === "\u0000" ? 0 : column.words().indexOf(word) + 1;
  }

  function keepCode(passes, codes, wanted) {
    for (let i = 0; i < passes.length; i++) if (codes[i] !== wanted) passes[i] = 0;
  }

  function keepRange(passes, values, low, high) {
    for (let i = 0; i < passes.length; i++) if (!(values[i] >= low && values[i] <= high)) passes[i] = 0;
  }

  county.readFilters = function () {
    const wanted = {};
    FIELDS.forEach(function (name) {
      const input = field(name);
      if (input && input.value !== "") wanted[name] = input.value;
    });
    return wanted;
  };

  county.writeFilters = function (wanted) {
    FIELDS.forEach(function (name) {
      const input = field(name);
      if (input) input.value = wanted[name] === undefined ? "" : wanted[name];
    });
    county.element("filters").open = Object.keys(wanted).length > 0 || county.element("filters").open;
  };

  function number(text, otherwise) {
    const value = parseFloat(text);
    return Number.isFinite(value) ? value : otherwise;
  }

  county.passing = function (wanted) {
    if (!Object.keys(wanted).length || !county.facts) return null;
    const passes = new Uint8Array(county.parcels.count).fill(1);
    const show = county.scoreShown();
    if (wanted.class) keepCode(passes, county.scores.currentClass[show], Number(wanted.class));
    if (wanted.stage && county.stage) keepCode(passes, county.stage, Number(wanted.stage));
    if (wanted.score_from || wanted.score_to) {
      keepRange(passes, county.scores.current[show], number(wanted.score_from, 0), number(wanted.score_to, 100));
    }
    ["kind", "service", "zone", "neighborhood"].forEach(function (name) {
      const column = county.coded[name];
      if (wanted[name] && column) keepCode(passes, column.codes(), codeOf(column, wanted[name]));
    });
    if ((wanted.age_from || wanted.age_to) && county.facts.age_yr) {
      keepRange(passes, county.facts.age_yr.numbers(), number(wanted.age_from, 0), number(wanted.age_to, 999));
    }
    return passes;
  };

  county.startFilters = function () {
    county.coded = {};
    ["kind", "service", "zone", "neighborhood"].forEach(function (name) {
      const row = county.element("filter-row-" + name);
      if (!row) return;
      const column = county.facts[name];
      row.hidden = !column;
      if (!column) return;
      county.coded[name] = asCodes(column);
      options(field(name), county.coded[name]);
    });
    county.element("filter-row-stage").hidden = !county.stage;
    county.element("filter-row-age").hidden = !county.facts.age_yr;
    FIELDS.forEach((name) => field(name) && field(name).addEventListener("input", function () {
      county.state.filters = county.readFilters();
      county.tell("filter");
    }));
    county.element("filter-clear").addEventListener("click", () => county.showOnly({}));
    county.element("filter-zoom").addEventListener("click", county.zoomToShown);
  };

  /* Sets the filters; with any, the map moves to what is left. */
  county.showOnly = function (wanted) {
    county.state.filters = wanted;
    county.writeFilters(wanted);
    county.tell("filter");
    if (Object.keys(wanted).length) county.zoomToShown();
  };

  county.zoomToShown = function () {
    const box = L.latLngBounds([]), passes = county.passes;
    for (let i = 0; passes && i < passes.length; i++) if (passes[i]) box.extend(county.parcels.box(i));
    if (box.isValid()) county.map.fitBounds(box, { animate: false, padding: [20, 20], maxZoom: 17 });
    else county.fitWhole(county.plan.bounds, [12, 12]);
  };
})(window.county);
