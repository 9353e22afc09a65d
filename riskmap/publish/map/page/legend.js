/* The legend with its counts, and the head of the list. */
(function (county) {
  "use strict";

  const NAMES = { priority: "Priority", failure: "Failure", groundwater: "Groundwater", stage: "Likely state" };

  county.updateLegend = function () {
    const classes = county.classesNow(), passes = county.passes;
    const counts = new Uint32Array(8);
    const byStage = county.state.show === "stage";
    const entries = byStage ? county.plan.stages : county.plan.classes, count = byStage ? "stage-count-" : "count-";
    for (let i = 0; i < classes.length; i++) if (!passes || passes[i]) counts[classes[i] || entries.length]++;
    entries.forEach(function (entry, index) {
      county.element(count + (index + 1)).textContent = county.figure(counts[index + 1]);
    });
    county.element("key-score").hidden = byStage;
    if (county.element("key-stage")) county.element("key-stage").hidden = !byStage;
    county.element("filter-of").textContent = NAMES[county.scoreShown()];
    county.element("legend-title").textContent = NAMES[county.state.show];
    let shown = 0;
    for (let code = 1; code < 8; code++) shown += counts[code];
    county.element("shown").textContent = passes
      ? "Showing " + county.figure(shown) + " of " + county.plural(classes.length, "parcel", "parcels")
      : county.plural(shown, "parcel", "parcels");
  };

  function moved(row, place) {
    const before = county.facts.rank.number(row);
    const gain = before - (place + 1);
    const mark = county.make("span", gain > 0 ? "move up" : gain < 0 ? "move down" : "move");
    if (gain === 0) mark.textContent = "same place";
    else mark.textContent = (gain > 0 ? "up " : "down ") + county.figure(Math.abs(gain));
    mark.title = "Was " + county.figure(before);
    return mark;
  }

  county.updateTop = function () {
    if (!county.scores) return;
    const list = county.element("top-list");
    const all = county.everyone || (county.everyone = new Uint8Array(county.parcels.count).fill(1));
    const rows = county.scores.top(12, county.passes || all);
    list.replaceChildren();
    rows.forEach(function (row, place) {
      const item = county.make("li");
      const button = county.make("button", "top");
      button.type = "button";
      const whole = county.scores.reordered && !county.passes;
      const rank = whole ? place + 1 : county.scores.reordered ? "" : county.facts.rank.number(row);
      button.appendChild(county.make("span", "place", String(rank)));
      button.appendChild(county.make("bdi", "who", county.facts.parcel_id.word(row)));
      button.appendChild(county.make("bdi", "where", county.facts.address.word(row)));
      button.appendChild(county.make("span", "value", county.scores.current.priority[row].toFixed(1)));
      if (whole) button.appendChild(moved(row, place));
      button.addEventListener("click", () => county.choose(row, true));
      item.appendChild(button);
      list.appendChild(item);
    });
    county.element("top-none").hidden = rows.length > 0;
    county.element("top-note").textContent = county.scores.reordered
      ? "By the changed weights, with places gained or lost."
      : county.passes ? "Only parcels that match the filters." : "By priority.";
  };
})(window.county);
