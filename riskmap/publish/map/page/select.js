/* Choose parcels by drawing an outline (or by what is in view) and save them as CSV. */
(function (county) {
  "use strict";

  /* The same rule as the lists: text that a spreadsheet would run gets a quote in front. */
  county.csvField = function (value) {
    if (typeof value === "number") return Number.isFinite(value) ? String(value) : "";
    let text = String(value);
    const bare = text.replace(/^[\s\u200b-\u200f\u2060\ufeff]+/, "");
    if (/^[=+\-@\t\r\n\0]/.test(text) || /^[=+\-@\uff1d\uff0b\uff0d\uff20]/.test(bare)) text = "'" + text;
    return /[",\r\n;]|^\s|\s$/.test(text) ? '"' + text.replace(/"/g, '""') + '"' : text;
  };

  county.csvOf = function (rows) {
    const facts = county.facts;
    const fixed = [["parcel_id", (i) => facts.parcel_id.word(i)], ["address", (i) => facts.address.word(i)],
      ["rank", (i) => facts.rank.number(i)]];
    ["priority", "failure", "groundwater"].forEach(function (kind) {
      fixed.push([kind + " score", (i) => Math.round(county.scores.current[kind][i] * 10) / 10]);
      fixed.push([kind + " class", (i) => county.plan.classes[(county.scores.currentClass[kind][i] || 6) - 1].name]);
    });
    [1, 2, 3].forEach((n) => fixed.push(["reason " + n, (i) => facts["reason_" + n].word(i)]));
    fixed.push(["not known", (i) => facts.unknown.word(i)]);
    if (county.plan.doubt) {
      const percent = (name) => (i) => Math.round(1000 * facts["said:" + name].number(i)) / 10;
      [["chance failed", "chance_failed_frac"], ["chance failed, low", "chance_failed_low_frac"],
        ["chance failed, high", "chance_failed_high_frac"],
        ["chance among the first " + county.plan.doubt.top, "top_chance"]].forEach(function (entry) {
        if (facts["said:" + entry[1]]) fixed.push([entry[0] + " (%)", percent(entry[1])]);
      });
    }
    if (county.plan.installed_from) {
      fixed.push(["Installed", (i) => county.plan.installed_from - facts.age_yr.number(i)]);
    }
    county.plan.facts.forEach(function (fact) {
      const column = facts[fact.column];
      const title = fact.label + (fact.unit ? " (" + fact.unit + ")" : "");
      fixed.push([title, (i) => (column.about.kind === "number" ? column.number(i) : column.word(i))]);
      if (fact.evidence) fixed.push([fact.label + ", evidence", (i) => facts[fact.column + "_evidence"].word(i)]);
    });
    const lines = [fixed.map((entry) => county.csvField(entry[0])).join(",")];
    rows.forEach((row) => lines.push(fixed.map((entry) => county.csvField(entry[1](row))).join(",")));
    return lines.join("\r\n") + "\r\n";
  };

  function insideOutline(x, y, corners) {
    let inside = false;
    for (let a = 0, b = corners.length - 1; a < corners.length; b = a++) {
      const [xa, ya] = corners[a], [xb, yb] = corners[b];
      if ((ya > y) !== (yb > y) && x < ((xb - xa) * (y - ya)) / (yb - ya) + xa) inside = !inside;
    }
    return inside;
  }

  function take(test, box) {
    const chosen = new Uint8Array(county.parcels.count);
    county.parcels.search(box[0], box[1], box[2], box[3], function (i) {
      const [x, y] = county.parcels.middle(i);
      if ((!county.passes || county.passes[i]) && test(x, y)) chosen[i] = 1;
    });
    county.setSelection(chosen);
  }

  county.selectInside = function (places) {
    const corners = places.map(function (place) {
      const point = county.toPixels(place);
      return [point.x, point.y];
    });
    const xs = corners.map((c) => c[0]), ys = corners.map((c) => c[1]);
    take((x, y) => insideOutline(x, y, corners),
      [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)]);
  };

  function selectView() {
    const view = county.map.getBounds();
    const a = county.toPixels(view.getNorthWest()), b = county.toPixels(view.getSouthEast());
    take((x, y) => x >= a.x && x <= b.x && y >= a.y && y <= b.y, [a.x, a.y, b.x, b.y]);
  }

  county.setSelection = function (chosen) {
    let count = 0;
    if (chosen) for (let i = 0; i < chosen.length; i++) count += chosen[i];
    county.state.selected = count ? chosen : null;
    county.element("select-save").disabled = !count;
    county.element("select-clear").disabled = !count;
    const text = count ? county.plural(count, "parcel chosen", "parcels chosen") : "No parcel chosen";
    county.element("select-count").textContent = text;
    county.announce(text);
    county.tell("selection");
  };

  county.chosenRows = function () {
    const rows = [];
    const chosen = county.state.selected;
    if (chosen) for (let i = 0; i < chosen.length; i++) if (chosen[i]) rows.push(i);
    const rank = county.facts.rank.numbers();
    return rows.sort((a, b) => (rank[a] || Infinity) - (rank[b] || Infinity) || a - b);
  };

  county.startSelect = function () {
    const map = county.map;
    const outline = L.polygon([], { color: county.plan.colors.selected, weight: 2, dashArray: "6 4",
      fillOpacity: 0.12, interactive: false });
    let corners = null;
    const draw = county.element("select-draw"), hint = county.element("select-hint");

    function stop() {
      corners = null;
      county.drawing = false;
      hint.hidden = true;
      draw.textContent = "Draw an outline";
      draw.setAttribute("aria-pressed", "false");
      map.getContainer().classList.remove("drawing");
      map.doubleClickZoom.enable();
    }

    function finish() {
      if (corners.length >= 3) county.selectInside(corners);
      else outline.remove();
      stop();
    }

    draw.addEventListener("click", function () {
      if (corners) return finish();
      corners = [];
      county.drawing = true;
      outline.setLatLngs([]).addTo(map);
      hint.hidden = false;
      draw.textContent = "Finish the outline";
      draw.setAttribute("aria-pressed", "true");
      map.getContainer().classList.add("drawing");
      map.doubleClickZoom.disable();
      map.getContainer().focus();
    });
    map.on("click", function (event) {
      if (!corners) return;
      corners.push(event.latlng);
      outline.setLatLngs(corners);
    });
    map.on("dblclick", () => corners && finish());
    document.addEventListener("keydown", function (event) {
      if (!corners) return;
      if (event.key === "Escape") { outline.remove(); stop(); }
      else if (event.key === "Enter" && event.target === map.getContainer() && corners.length >= 3) finish();
    });
    county.element("select-view").addEventListener("click", () => { outline.remove(); selectView(); });
    county.element("select-clear").addEventListener("click", () => { outline.remove(); county.setSelection(null); });
    county.element("select-save").addEventListener("click", function () {
      county.needDetails(county.chosenRows()).then(function () {
        county.saveFile("chosen_parcels.csv", "text/csv;charset=utf-8", county.csvOf(county.chosenRows()));
      }).catch(county.fail);
    });
    [draw, county.element("select-view")].forEach((button) => { button.disabled = false; });
  };
})(window.county);
