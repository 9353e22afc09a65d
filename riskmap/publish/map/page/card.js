/* The card of one parcel: facts with evidence marks, reasons as bars, what is unknown. */
(function (county) {
  "use strict";

  const TITLES = { priority: "Priority", failure: "Failure", groundwater: "Groundwater" };

  /* Years that the model cuts off, in words at both ends. */
  function years(fact, number) {
    if (number >= county.plan.cap_yr) return county.plan.cap_yr + " years or more";
    const whole = county.figure(number, 0);
    return whole === "0" ? fact.none : "about " + county.withUnit(whole, fact.unit, fact.one);
  }

  function value(fact, row) {
    const column = county.facts[fact.column];
    if (column.about.kind !== "number") return column.word(row);
    const number = column.number(row);
    if (!Number.isFinite(number)) return "";
    if (fact.none) return years(fact, number);
    const text = county.withUnit(county.figure(number, column.about.decimals, fact.grouped), fact.unit, fact.one);
    const since = fact.column === "age_yr" && county.plan.installed_from;
    return since ? text + ", since " + (county.plan.installed_from - number) : text;
  }
  county.factText = value;

  function factRow(fact, row) {
    const text = value(fact, row);
    const mark = fact.evidence ? county.facts[fact.column + "_evidence"].word(row) : "";
    if (text === "" && !fact.evidence) return null;
    const line = county.make("div", "fact");
    line.appendChild(county.make("dt", "", fact.label));
    const body = county.make("dd");
    if (fact.column === "zone" && text !== "") body.appendChild(zoneButton(text));
    else body.appendChild(county.make("bdi", text === "" ? "missing" : "", text === "" ? "not known" : text));
    if (mark && text !== "") body.appendChild(county.make("span", "mark " + mark, mark));
    line.appendChild(body);
    return line;
  }

  function zoneButton(name) {
    const button = county.make("button", "plain");
    button.type = "button";
    button.appendChild(county.make("bdi", "", name));
    button.addEventListener("click", () => county.showZone(name));
    return button;
  }

  function factGroups(row, wanted) {
    const box = county.make("div", "facts");
    let group = null, list = null;
    county.plan.facts.filter((fact) => wanted(fact.group)).forEach(function (fact) {
      const line = factRow(fact, row);
      if (!line) return;
      if (fact.group !== group) {
        group = fact.group;
        box.appendChild(county.make("h3", "", group));
        list = box.appendChild(county.make("dl"));
        if (county.plan.group_notes[group]) box.appendChild(county.make("p", "small", county.plan.group_notes[group]));
      }
      list.appendChild(line);
    });
    return box;
  }

  function bars(kind, row) {
    const points = county.scores.points(kind, row).filter((entry) => Number.isFinite(entry.points));
    if (!points.length) return null;
    const box = county.make("div", "bars");
    box.appendChild(county.make("h3", "", "What adds to " + kind));
    const longest = Math.max(...points.map((entry) => entry.most));
    const list = box.appendChild(county.make("ul"));
    points.forEach(function (entry) {
      const item = list.appendChild(county.make("li"));
      item.appendChild(county.make("span", "bar-label", entry.label));
      const track = item.appendChild(county.make("span", "track"));
      track.style.width = (100 * entry.most) / longest + "%";
      const fill = track.appendChild(county.make("span", "fill"));
      fill.style.width = (100 * entry.points) / entry.most + "%";
      item.appendChild(county.make("span", "bar-value",
        entry.points.toFixed(1) + " of " + entry.most.toFixed(1)));
    });
    return box;
  }

  function badge(kind, row) {
    const code = county.scores.currentClass[kind][row] || 6;
    const entry = county.plan.classes[code - 1];
    const box = county.make("div", "badge" + (code === 6 ? " unranked" : ""));
    box.style.backgroundColor = entry.color;
    box.style.color = entry.text;
    const score = county.scores.current[kind][row];
    box.appendChild(county.make("span", "badge-name", TITLES[kind]));
    box.appendChild(county.make("span", "badge-score",
      code === 6 || !Number.isFinite(score) ? "–" : score.toFixed(0)));
    box.appendChild(county.make("span", "badge-class", entry.name));
    return box;
  }

  /* The county's own records first, then what raises the chance, then the reasons of the scores. */
  function why(row) {
    const lines = county.plan.why.map((entry) => [entry.head, county.facts[entry.name].word(row)]).filter((line) => line[1]);
    if (!lines.length) return null;
    const box = county.make("div", "reasons");
    box.appendChild(county.make("h3", "", "Why this stop"));
    const list = box.appendChild(county.make("ul"));
    lines.forEach(function ([head, text]) {
      const item = list.appendChild(county.make("li"));
      if (head) item.appendChild(county.make("strong", "", head));
      item.appendChild(county.make("bdi", "", text));
    });
    return box;
  }

  /* The sum behind the chance, folded away. */
  function ledger(row) {
    const text = county.facts.ledger.word(row);
    if (!text) return null;
    const box = county.make("details", "ledger");
    box.appendChild(county.make("summary", "", "How the chance comes about"));
    const table = box.appendChild(county.make("table"));
    const head = table.createTHead().insertRow();
    ["Log odds", "Adds", "Sum"].forEach((words) => {
      head.appendChild(county.make("th", "", words)).scope = "col";
    });
    const body = table.createTBody(), marks = county.plan.ledger;
    text.split(marks.row).forEach(function (line) {
      const cells = body.insertRow();
      line.split(marks.cell).forEach((words) => cells.appendChild(county.make("td", "", words)));
    });
    const total = Number(text.split(marks.cell).pop());
    box.appendChild(county.make("p", "small", "Chance = 1 / (1 + exp(" + (-total).toFixed(2) + ")) = " +
      (1 / (1 + Math.exp(-total))).toFixed(3) + ". Positive lines raise the chance, negative ones lower it."));
    return box;
  }

  function unknown(row) {
    const text = county.facts.unknown.word(row);
    const box = county.make("div", "unknown");
    box.appendChild(county.make("h3", "", "Not known"));
    box.appendChild(county.make("p", "", text ? text : "Nothing that the score asks for."));
    return box;
  }

  county.standingWords = function (row) {
    const rank = county.facts.rank.number(row);
    if (!Number.isFinite(rank)) {
      return "Not ranked: " + (county.facts.not_ranked_reason.word(row) || "no reason recorded") + ".";
    }
    const list = county.facts.worklist.word(row);
    return (list ? list.charAt(0).toUpperCase() + list.slice(1) + ". " : "") +
      "Rank " + county.figure(rank) + " of " + county.figure(county.plan.counts.ranked) +
      (county.scores.reordered ? " before the weights were changed" : "");
  };

  /* The card, emptied and shown. */
  county.openCard = function (label) {
    const card = county.element("card"), body = county.element("card-body");
    body.replaceChildren();
    card.setAttribute("aria-label", label);
    card.hidden = false;
    document.body.classList.add("has-card");
    card.scrollTop = 0;
    return body;
  };

  function parcelTitle(body, row) {
    const title = body.appendChild(county.make("h2"));
    title.appendChild(county.make("bdi", "", county.facts.address.word(row) || "No address recorded"));
    const number = body.appendChild(county.make("p", "number", "Parcel "));
    number.appendChild(county.make("bdi", "", county.facts.parcel_id.word(row)));
    body.appendChild(county.make("p", "standing", county.standingWords(row)));
    const badges = body.appendChild(county.make("div", "badges"));
    ["priority", "failure", "groundwater"].forEach((kind) => badges.appendChild(badge(kind, row)));
  }

  county.showCard = function (row) {
    const body = county.openCard("Parcel");
    county.ring(null);
    const onLot = county.drawPlaces(row);
    parcelTitle(body, row);
    /* Of a parcel without a system only the site is shown. */
    const onSite = county.plan.may_be_onsite.includes(county.facts.service ? county.facts.service.word(row) : "unknown") ||
      county.scores.base.priority[row] >= 0;
    const groups = county.plan.groups, shown = (group) => onSite || group === groups.site;
    const help = factGroups(row, (group) => group === groups.help && shown(group));
    if (onLot) help.appendChild(county.make("p", "small", onLot));
    [why(row), county.doubtSection(row), ledger(row), help, county.threatSection(row), bars("failure", row),
      bars("groundwater", row), onSite ? unknown(row) : null, factGroups(row, (group) => group !== groups.help && shown(group))]
      .filter(Boolean).forEach((part) => body.appendChild(part));
    body.appendChild(county.make("p", "small", "Measured: from a permit, visit or well log. Mapped: from a survey " +
      "or grid. Inferred: from neighbors or a model. Assumed: a stated default."));
    body.appendChild(county.make("p", "small warn", county.plan.screening));
  };

  county.hideCard = function () {
    county.element("card").hidden = true;
    document.body.classList.remove("has-card");
    county.ring(null);
    county.clearPlaces();
  };
})(window.county);
