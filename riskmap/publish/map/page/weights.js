/* "What if a factor counted more?": sliders, the county re-scored in the page, a file to keep. */
(function (county) {
  "use strict";
  const TITLES = { failure: "Failure score", groundwater: "Groundwater score" };

  /* The scale runs between the model's own bounds, in a hundred steps. */
  function slider(factor) {
    const step = (factor.high - factor.low) / 100;
    const row = county.make("div", "weight");
    const label = county.make("label", "", factor.label);
    label.htmlFor = "weight-" + factor.name;
    const input = county.make("input");
    input.type = "range";
    input.id = "weight-" + factor.name;
    input.min = String(factor.low);
    input.max = String(factor.high);
    input.step = String(step || 1);
    input.value = String(factor.weight);
    const shown = county.make("output", "", county.decimal(factor.weight));
    shown.htmlFor = input.id;
    input.addEventListener("input", function () {
      const moved = Number(input.value);
      const value = Math.abs(moved - factor.base) < step / 2 ? factor.base : Math.round(moved * 100) / 100;
      shown.textContent = county.decimal(value);
      shown.classList.toggle("changed", value !== factor.base);
      county.scores.setWeight(factor.name, value);
      county.tell("weights");
    });
    row.append(label, input, shown);
    return row;
  }

  function build(box) {
    box.replaceChildren();
    Object.keys(TITLES).forEach(function (kind) {
      const factors = county.scores.factors.filter((factor) => factor.score === kind);
      if (!factors.length) return;
      const group = county.make("fieldset");
      group.appendChild(county.make("legend", "", TITLES[kind]));
      factors.forEach((factor) => group.appendChild(slider(factor)));
      box.appendChild(group);
    });
  }

  /* While weights are moved the head of the list is shown next to the sliders, over the map's edge. */
  function beside(open) {
    const top = county.element("top"), place = county.element("beside");
    const move = open && window.innerWidth > 760;
    if (move) place.appendChild(top);
    else county.element("panel").insertBefore(top, county.element("filters"));
    place.hidden = !move;
    if (move) top.open = true;
  }

  function buttons() {
    county.element("weights-reset").disabled = !county.scores.changed;
    county.element("weights-save").disabled = !county.scores.changed;
  }

  county.startWeights = function () {
    const section = county.element("weights");
    if (!section || !county.plan.weights_ready) return;
    const box = county.element("weights-box");
    buttons();
    county.on("weights", buttons);
    section.addEventListener("toggle", function () {
      beside(section.open);
      if (section.open && !box.children.length) county.needDetails().then(() => build(box)).catch(county.fail);
    });
    county.element("weights-reset").addEventListener("click", function () {
      county.scores.reset();
      build(box);
      county.tell("weights");
    });
    county.element("weights-save").addEventListener("click", function () {
      const about = county.plan.county + ", run of " + county.plan.date;
      county.saveFile("changed_weights.toml", "application/toml", county.scores.toToml(about));
    });
  };
})(window.county);
