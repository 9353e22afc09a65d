/* Find parcels, wells, zones and neighborhoods, however a number is spelled and an address is abbreviated. */
(function (county) {
  "use strict";
  const MOST = 8, ENOUGH = 400, WORD_NEEDS = 3;
  let sources = null, prepared;

  /* The written form of both sides: capitals, no accents or signs, postal abbreviations. */
  function plain(text) {
    return text.normalize("NFD").replace(/[\u0300-\u036f]/g, "").toUpperCase().replace(/['\u2019.]/g, "")
      .replace(/[^\p{L}\p{N}]+/gu, " ").trim();
  }
  let kinds = null;

  /* Kinds of numbered roads, written out, in one pass: a county has many addresses. */
  function roads(text) {
    const written = county.plan.postal.roads;
    if (!kinds) {
      const longest = Object.keys(written).sort((a, b) => b.length - a.length);
      kinds = new RegExp("(?<![^ ])(?:" + longest.join("|") + ")(?![^ ])", "g");
    }
    return text.replace(kinds, (words) => written[words]);
  }

  const postal = (text) => roads(plain(text)).split(" ").map((word) => county.plan.postal.words[word] || word).join(" ");
  const bare = (text) => plain(text).replace(/ /g, "");

  /* One long text of many lines, so that a search is one scan. */
  function source(kind, lines, form, rows) {
    const forms = lines.map(form), starts = new Uint32Array(forms.length + 1);
    for (let at = 0; at < forms.length; at++) starts[at + 1] = starts[at] + forms[at].length + 1;
    return { kind: kind, form: form, text: "\n" + forms.join("\n") + "\n", starts: starts, rows: rows };
  }

  function linesOf(column) {
    return column.about.kind === "text" ? column.lines()
      : Array.from({ length: column.count }, (_, row) => column.word(row));
  }

  function prepare() {
    const facts = county.facts, layers = county.layers || {};
    prepared = county.ready;
    const found = [source("parcel", linesOf(facts.parcel_id), bare), source("parcel", linesOf(facts.address), postal)];
    if (layers.wells && layers.wells.columns.well_id) found.push(source("well", linesOf(layers.wells.columns.well_id), bare));
    if (layers.zones) found.push(source("zone", linesOf(layers.zones.columns.name), postal));
    if (county.coded.neighborhood) found.push(source("neighborhood", county.coded.neighborhood.words(), postal));
    return found;
  }

  function rowAt(starts, position) {
    let low = 0, high = starts.length - 1;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (starts[middle] <= position) low = middle;
      else high = middle;
    }
    return low;
  }

  /* Lines that hold `wanted`: 0 the whole line, 1 its beginning, 2 the beginning of a word, 3 inside a word. */
  function scan(from, wanted, penalty, hits) {
    let at = from.text.indexOf(wanted);
    for (let seen = 0; at >= 0 && seen < ENOUGH; seen++) {
      const row = rowAt(from.starts, at - 1), begin = from.starts[row] + 1, end = from.starts[row + 1];
      const fit = at === begin ? (end - begin === wanted.length ? 0 : 1) : from.text[at - 1] === " " ? 2 : 3;
      hits.push({ kind: from.kind, row: row, fit: fit + penalty });
      at = from.text.indexOf(wanted, end);
    }
  }

  /* The last word may be half typed: "COU" also means a word that is abbreviated as CT. */
  function spellings(wanted) {
    const words = wanted.split(" "), last = words.pop(), out = new Set([wanted]);
    if (last.length > 1) {
      const abbreviations = county.plan.postal.words;
      Object.keys(abbreviations).filter((word) => word.startsWith(last)).forEach((word) =>
        out.add([...words, abbreviations[word]].join(" ")));
    }
    return Array.from(out);
  }

  /* Whether one change (a letter more, less, other, or two swapped) makes `a` into `b`. */
  function oneOff(a, b) {
    if (Math.abs(a.length - b.length) > 1) return false;
    let at = 0;
    while (at < a.length && a[at] === b[at]) at++;
    return a.slice(at + 1) === b.slice(at + 1) || a.slice(at) === b.slice(at + 1) || a.slice(at + 1) === b.slice(at) ||
      (a[at] === b[at + 1] && a[at + 1] === b[at] && a.slice(at + 2) === b.slice(at + 2));
  }

  /* The same words with each that is on no address replaced by the nearest one that is. */
  function nearest(from, wanted) {
    if (!from.words) from.words = new Set(from.text.split(/[ \n]/));
    let changed = false;
    const words = wanted.split(" ").map(function (word) {
      if (word.length < WORD_NEEDS || /\d/.test(word) || from.words.has(word)) return word;
      const near = Array.from(from.words).find((other) => other.length >= WORD_NEEDS && oneOff(word, other));
      changed = changed || near !== undefined;
      return near || word;
    });
    return changed ? words.join(" ") : null;
  }

  function rankOf(hit) {
    const rank = hit.kind === "parcel" ? county.facts.rank.number(hit.row) : 0;
    return Number.isFinite(rank) ? rank : 1e9;
  }

  /* What was typed, as {kind, row}: the best fit first, then by rank. */
  county.find = function (typed) {
    if (!bare(typed)) return [];
    if (!sources || prepared !== county.ready) sources = prepare();
    const hits = [];
    sources.forEach(function (from) {
      const wanted = from.form(typed);
      if (from.form === bare) scan(from, wanted, 0, hits);
      else spellings(wanted).forEach((words) => scan(from, words, 0, hits));
    });
    if (!hits.length) {
      sources.filter((from) => from.form === postal).forEach(function (from) {
        const words = nearest(from, postal(typed));
        if (words) scan(from, words, 4, hits);
      });
    }
    const best = new Map();
    hits.forEach(function (hit) {
      const key = hit.kind + hit.row, known = best.get(key);
      if (!known || hit.fit < known.fit) best.set(key, hit);
    });
    return Array.from(best.values()).sort((a, b) => a.fit - b.fit || rankOf(a) - rankOf(b) || a.row - b.row).slice(0, MOST);
  };

  const KINDS = {
    parcel: { name: (row) => county.facts.parcel_id.word(row), about: (row) => county.facts.address.word(row),
      take: (row) => county.choose(row, true) },
    well: { name: (row) => county.layers.wells.columns.well_id.word(row), about: () => "Well",
      take: (row) => county.showWell(row, true) },
    zone: { name: (row) => county.layers.zones.columns.name.word(row), about: () => "Zone",
      take: (row) => county.showZone(county.layers.zones.columns.name.word(row)) },
    neighborhood: { name: (row) => county.coded.neighborhood.words()[row], about: () => "Neighborhood",
      take: (row) => county.showOnly({ neighborhood: county.coded.neighborhood.words()[row] }) },
  };

  county.startSearch = function () {
    const input = county.element("search"), list = county.element("search-results");
    let hits = [], active = -1;
    input.disabled = false;

    function close() {
      list.hidden = true;
      active = -1;
      input.setAttribute("aria-expanded", "false");
      input.removeAttribute("aria-activedescendant");
    }

    function take(hit) {
      close();
      input.value = KINDS[hit.kind].name(hit.row);
      KINDS[hit.kind].take(hit.row);
    }

    function mark(next) {
      active = next;
      Array.from(list.children).forEach(function (item, index) {
        item.setAttribute("aria-selected", String(index === active));
      });
      if (active >= 0) input.setAttribute("aria-activedescendant", "found-" + active);
    }

    function fill() {
      hits = county.find(input.value);
      list.replaceChildren();
      hits.forEach(function (hit, index) {
        const item = list.appendChild(county.make("li"));
        item.id = "found-" + index;
        item.setAttribute("role", "option");
        item.appendChild(county.make("bdi", "who", KINDS[hit.kind].name(hit.row)));
        item.appendChild(county.make("bdi", "where", KINDS[hit.kind].about(hit.row)));
        item.addEventListener("mousedown", (event) => event.preventDefault());
        item.addEventListener("click", () => take(hit));
      });
      if (!hits.length && input.value.trim()) list.appendChild(county.make("li", "none", "Nothing found"));
      list.hidden = !list.children.length;
      input.setAttribute("aria-expanded", String(!list.hidden));
      active = -1;
      county.announce(hits.length ? county.plural(hits.length, "match", "matches") : "Nothing found");
    }

    input.addEventListener("input", fill);
    input.addEventListener("blur", () => setTimeout(close, 150));
    input.addEventListener("keydown", function (event) {
      if (event.key === "ArrowDown" && hits.length) mark((active + 1) % hits.length);
      else if (event.key === "ArrowUp" && hits.length) mark((active + hits.length - 1) % hits.length);
      else if (event.key === "Enter" && hits.length) take(hits[Math.max(0, active)]);
      else if (event.key === "Escape") close();
      else return;
      event.preventDefault();
    });
  };
})(window.county);
