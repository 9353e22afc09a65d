/* Wells that a parcel's water may reach, and the card of one well. */
(function (county) {
  "use strict";
  const PER_PARCEL = 3, PER_WELL = 5;
  let reading = null;

  /* The positions of each whole number, in order. */
  function grouped(numbers) {
    let most = 0;
    for (let at = 0; at < numbers.length; at++) if (numbers[at] > most) most = numbers[at];
    const starts = new Uint32Array(most + 2), places = new Uint32Array(numbers.length);
    for (let at = 0; at < numbers.length; at++) starts[numbers[at] + 1]++;
    for (let key = 0; key <= most; key++) starts[key + 1] += starts[key];
    const next = starts.slice();
    for (let at = 0; at < numbers.length; at++) places[next[numbers[at]]++] = at;
    return (key) => (key > most ? [] : Array.from(places.subarray(starts[key], starts[key + 1])));
  }

  /* Pairs of parcels and wells are read with the first card. */
  county.needThreats = function () {
    if (!county.plan.files.includes("threats")) return Promise.resolve(null);
    if (!reading) {
      reading = county.load("threats").then(function (file) {
        const columns = county.columnsOf(file, file.header.columns, file.header.count);
        county.threats = { columns: columns, byParcel: grouped(columns.row.numbers()), byWell: grouped(columns.well.numbers()) };
      });
    }
    return reading;
  };

  function timeWords(days) {
    if (days < 60) return "about " + days + " days";
    if (days < 730) return "about " + Math.round(days / 30.4) + " months";
    return "about " + Math.round(days / 365.25) + " years";
  }

  function addedWords(milligrams) {
    const unit = county.plan.nitrate_unit;
    return milligrams < 0.1 ? "under 0.1 " + unit : county.figure(milligrams, 1) + " " + unit;
  }

  function pairWords(at) {
    const { distance, days, nitrate } = county.threats.columns;
    return county.withUnit(county.figure(distance.number(at)), county.plan.length_unit) + ", " +
      timeWords(days.number(at)) + ", adds nitrate: " + addedWords(nitrate.number(at));
  }

  function pairItem(name, at, act) {
    const item = county.make("li");
    const button = item.appendChild(county.make("button", "plain"));
    button.type = "button";
    button.appendChild(county.make("bdi", "", name));
    button.addEventListener("click", act);
    item.appendChild(county.make("span", "small", " " + pairWords(at)));
    return item;
  }

  function wellName(well) {
    const ids = county.layers.wells.columns.well_id;
    return (ids && ids.word(well)) || "without a number";
  }

  county.threatSection = function (row) {
    if (!county.threats || !county.layers || !county.layers.wells) return null;
    if (!(county.scores.base.priority[row] >= 0)) return null;
    const box = county.make("div", "threats");
    box.appendChild(county.make("h3", "", "Drinking wells its water may reach"));
    const found = county.threats.byParcel(row).slice(0, PER_PARCEL);
    if (!found.length) {
      box.appendChild(county.make("p", "", "None on record that it would add 0.01 mg/L of nitrate or more to, by the model. " +
        "A well close by may be at risk all the same: see the distance to the nearest."));
    } else {
      const list = box.appendChild(county.make("ul", "pairs"));
      found.forEach(function (at) {
        const well = county.threats.columns.well.number(at);
        list.appendChild(pairItem("Well " + wellName(well), at, () => county.showWell(well, true)));
      });
      const reached = county.facts.wells_reached ? county.facts.wells_reached.number(row) : found.length;
      if (reached > found.length) {
        box.appendChild(county.make("p", "small", 
          (found.length === 1 ? "The one that gets" : "The " + found.length + " that get") + " most, of " + reached + "."));
      }
    }
    box.appendChild(county.make("p", "small", "Estimated along the mapped water table. Wells that are not on record are " +
      "not seen. Only a sample shows what is in the water."));
    return box;
  };

  function fact(list, label, text) {
    const line = list.appendChild(county.make("div", "fact"));
    line.appendChild(county.make("dt", "", label));
    line.appendChild(county.make("dd", "")).appendChild(county.make("bdi", text ? "" : "missing", text || "not known"));
  }
  county.factLine = fact;

  function known(columns, name, row) {
    return columns[name] && Number.isFinite(columns[name].number(row)) ? columns[name].number(row) : null;
  }

  function range(columns, row, names, unit) {
    const [middle, low, high] = names.map(function (name) {
      const number = known(columns, name, row);
      return number === null ? "" : county.figure(number, columns[name].about.decimals);
    });
    if (middle === "") return "";
    return county.withUnit(middle, unit) + (low === "" || high === "" ? "" : " (" + low + " to " + high + ")");
  }

  function ownSample(columns, row, value) {
    const below = columns.last_nitrate_below_limit && columns.last_nitrate_below_limit.word(row) === "yes";
    const day = columns.last_sample ? columns.last_sample.word(row) : "";
    const nitrate = county.withUnit(county.figure(value, columns.last_nitrate_mg_l.about.decimals), county.plan.nitrate_unit);
    return (below ? "below " : "") + nitrate + (day ? ", " + day : "");
  }

  function riskFacts(list, columns, row) {
    const own = known(columns, "last_nitrate_mg_l", row);
    if (own !== null) fact(list, "Its own last sample", ownSample(columns, row, own));
    fact(list, "Risk, 0 to 1", range(columns, row, ["well_risk_frac", "well_risk_low", "well_risk_high"], ""));
    fact(list, own === null ? "Nitrate predicted" : "Nitrate predicted without it", range(columns, row,
      ["nitrate_predicted_mg_l", "nitrate_low_mg_l", "nitrate_high_mg_l"], county.plan.nitrate_unit));
    const chance = known(columns, "chance_above_limit_frac", row);
    fact(list, "Chance above 10 mg/L", chance === null ? "" : chance < 1 ? "under 1%" : county.figure(chance) + "%");
    const count = known(columns, "systems_reaching", row);
    fact(list, "Systems whose water reaches it", count === null ? "" : county.figure(count));
    const near = known(columns, "setback_short_systems", row);
    if (near) fact(list, "Systems nearer than the setback", county.figure(near));
    const unknown = columns.well_unknowns && columns.well_unknowns.word(row);
    if (unknown) fact(list, "Not known of the well", unknown);
  }

  function plainFacts(list, columns, row) {
    county.plan.well_facts.forEach(function (entry) {
      const column = columns[entry.column];
      if (!column) return;
      const number = known(columns, entry.column, row);
      const text = column.about.kind !== "number" ? column.word(row)
        : number === null ? "" : county.withUnit(county.figure(number, column.about.decimals), entry.unit);
      if (text || entry.column !== "zone_id") fact(list, entry.label, text);
    });
  }

  function sources(row) {
    const found = county.threats ? county.threats.byWell(row) : [];
    if (!found.length) return null;
    const columns = county.threats.columns;
    found.sort((a, b) => columns.nitrate.number(b) - columns.nitrate.number(a));
    const box = county.make("div", "threats");
    box.appendChild(county.make("h3", "", "Parcels that add most"));
    const list = box.appendChild(county.make("ul", "pairs"));
    found.slice(0, PER_WELL).forEach(function (at) {
      const parcel = columns.row.number(at);
      list.appendChild(pairItem(county.facts.parcel_id.word(parcel), at, () => county.choose(parcel, true)));
    });
    return box;
  }

  function wellCard(row) {
    const columns = county.layers.wells.columns;
    const body = county.openCard("Well");
    const title = body.appendChild(county.make("h2", "", "Well "));
    title.appendChild(county.make("bdi", "", wellName(row)));
    const assessed = known(columns, "well_risk_frac", row) !== null;
    if (assessed) riskFacts(body.appendChild(county.make("dl", "facts")), columns, row);
    else if (columns.well_risk_frac) body.appendChild(county.make("p", "", "Not assessed: not a drinking-water well."));
    const from = sources(row);
    if (from) body.appendChild(from);
    body.appendChild(county.make("h3", "", "On record"));
    plainFacts(body.appendChild(county.make("dl", "facts")), columns, row);
    if (assessed) {
      body.appendChild(county.make("p", "small", "Risk joins the chance of nitrate above the limit for public water " +
        "(40 CFR 141.62) with the chance that germs get in; in brackets, the range from what is not known."));
    }
    body.appendChild(county.make("p", "small warn", "An estimate, not a sample. Only a laboratory sample shows what is in the water."));
  }

  county.showWell = function (row, move) {
    const [x, y] = county.layers.wells.shapes.middle(row), place = county.toDegrees(x, y);
    if (move && !county.map.getBounds().pad(-0.15).contains(place)) county.map.panTo(place, { animate: false });
    county.ring(place);
    if (county.state.parcel < 0 && county.outline) county.outline.remove();
    wellCard(row);
    return county.needThreats().then(() => county.threats && wellCard(row)).catch(county.fail);
  };

  /* A ring around the well that a card is about. */
  let ring = null;
  county.ring = function (place) {
    if (ring) ring.remove();
    ring = place ? L.circleMarker(place, { radius: 13, color: county.plan.colors.ink, weight: 3, fill: false,
      interactive: false }).addTo(county.map) : null;
  };
})(window.county);
