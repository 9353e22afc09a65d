/* Find a parcel by number or address: one scan over one long text. */
(function (county) {
  "use strict";
  const MOST = 8;
  let texts = null;

  function prepare(column) {
    const lines = column.about.kind === "text" ? column.lines()
      : Array.from({ length: column.count }, (_, row) => column.word(row));
    const text = lines.map((line) => line.toLowerCase()).join("\n");
    const starts = new Uint32Array(lines.length + 1);
    let at = 0;
    for (let row = 0; row < lines.length; row++) {
      starts[row] = at;
      at += lines[row].toLowerCase().length + 1;
    }
    starts[lines.length] = at;
    return { text: text, starts: starts };
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

  function scan(source, wanted, found, most) {
    let at = source.text.indexOf(wanted);
    while (at >= 0 && found.size < most) {
      const row = rowAt(source.starts, at);
      found.add(row);
      at = source.text.indexOf(wanted, source.starts[row + 1]);
    }
  }

  county.find = function (typed) {
    const wanted = typed.trim().toLowerCase().replace(/\s+/g, " ");
    if (!wanted) return [];
    if (!texts) texts = [prepare(county.facts.parcel_id), prepare(county.facts.address)];
    const exact = new Set(), begins = new Set(), holds = new Set();
    const number = texts[0];
    if (number.text.startsWith(wanted)) begins.add(0);
    let at = number.text.indexOf("\n" + wanted);
    while (at >= 0 && begins.size < MOST * 4) {
      begins.add(rowAt(number.starts, at + 1));
      at = number.text.indexOf("\n" + wanted, at + 1);
    }
    begins.forEach(function (row) {
      if (number.starts[row + 1] - number.starts[row] - 1 === wanted.length) exact.add(row);
    });
    scan(number, wanted, holds, MOST);
    scan(texts[1], wanted, holds, MOST * 2);
    return Array.from(new Set([...exact, ...begins, ...holds])).slice(0, MOST);
  };

  county.startSearch = function () {
    const input = county.element("search"), list = county.element("search-results");
    let rows = [], active = -1;
    input.disabled = false;

    function close() {
      list.hidden = true;
      active = -1;
      input.setAttribute("aria-expanded", "false");
      input.removeAttribute("aria-activedescendant");
    }

    function take(row) {
      close();
      input.value = county.facts.parcel_id.word(row);
      county.choose(row, true);
    }

    function mark(next) {
      active = next;
      Array.from(list.children).forEach(function (item, index) {
        item.setAttribute("aria-selected", String(index === active));
      });
      if (active >= 0) input.setAttribute("aria-activedescendant", "found-" + active);
    }

    function fill() {
      rows = county.find(input.value);
      list.replaceChildren();
      rows.forEach(function (row, index) {
        const item = list.appendChild(county.make("li"));
        item.id = "found-" + index;
        item.setAttribute("role", "option");
        item.appendChild(county.make("bdi", "who", county.facts.parcel_id.word(row)));
        item.appendChild(county.make("bdi", "where", county.facts.address.word(row)));
        item.addEventListener("mousedown", (event) => event.preventDefault());
        item.addEventListener("click", () => take(row));
      });
      if (!rows.length && input.value.trim()) list.appendChild(county.make("li", "none", "Nothing found"));
      list.hidden = !list.children.length;
      input.setAttribute("aria-expanded", String(!list.hidden));
      active = -1;
      county.announce(rows.length ? county.plural(rows.length, "match", "matches") : "Nothing found");
    }

    input.addEventListener("input", fill);
    input.addEventListener("blur", () => setTimeout(close, 150));
    input.addEventListener("keydown", function (event) {
      if (event.key === "ArrowDown" && rows.length) mark((active + 1) % rows.length);
      else if (event.key === "ArrowUp" && rows.length) mark((active + rows.length - 1) % rows.length);
      else if (event.key === "Enter" && rows.length) take(rows[Math.max(0, active)]);
      else if (event.key === "Escape") close();
      else return;
      event.preventDefault();
    });
  };
})(window.county);
