/* Puts the parts together: first the parcels are painted, then the rest is read. */
(function (county) {
  "use strict";

  const byStage = () => county.state.show === "stage";

  /* The score that lists and filters go by while parcels are colored by their likely state. */
  county.scoreShown = () => (byStage() ? "priority" : county.state.show);
  county.classesNow = () => (byStage() ? county.stage
    : (county.scores ? county.scores.currentClass : county.firstClass)[county.state.show]);

  county.repaint = function () {
    county.painter.update(byStage() ? "stage" : "score", county.classesNow(), byStage() ? county.assumed : county.apart,
      county.passes, county.state.selected);
    county.parcelLayer.recolor();
  };

  function refresh() {
    county.passes = county.passing(county.state.filters);
    county.repaint();
    county.updateLegend();
    county.updateTop();
  }

  county.choose = function (row, move) {
    county.state.parcel = row;
    if (move) {
      const box = county.parcels.box(row);
      const wide = window.innerWidth > 760;
      county.map.fitBounds(box.pad(1.2), { maxZoom: 17, animate: false,
        paddingBottomRight: wide ? [370, 0] : [0, 0.55 * county.map.getSize().y] });
    }
    if (county.outline) county.outline.remove();
    county.outline = L.layerGroup([
      L.polygon(county.parcels.rings(row), { color: county.plan.colors.halo, weight: 6, fill: false, interactive: false }),
      L.polygon(county.parcels.rings(row), { color: county.plan.colors.ink, weight: 3, fill: false, interactive: false }),
    ]).addTo(county.map);
    county.tell("parcel");
    return Promise.all([county.needDetails([row]), county.needThreats(), county.needPlaces()]).then(function () {
      if (county.state.parcel !== row) return;
      county.showCard(row);
      county.announce("Parcel " + county.facts.parcel_id.word(row) + ", " + county.facts.address.word(row) + ". " +
        county.standingWords(row));
    }).catch(county.fail);
  };

  county.closeCard = function () {
    county.state.parcel = -1;
    if (county.outline) county.outline.remove();
    county.hideCard();
    county.tell("parcel");
    county.map.getContainer().focus({ preventScroll: true });
  };

  function pick(place) {
    if (county.drawing || !county.facts) return;
    const point = county.toPixels(place);
    const wells = county.layers && county.layers.wells;
    if (wells && county.map.hasLayer(wells.tiles) && county.map.getZoom() >= 13) {
      const reach = 9 * 2 ** (19 - county.map.getZoom());
      const well = wells.shapes.near(point.x, point.y, reach);
      if (well >= 0) return county.showWell(well, false);
    }
    const row = county.parcels.at(point.x, point.y);
    if (row >= 0) county.choose(row, false);
    else if (!county.zoneAt(point.x, point.y)) {
      if (!county.element("card").hidden) county.closeCard();
      county.announce("No parcel here");
    }
  }

  function areaLayer(entry, shapes, columns) {
    const paints = entry.paints.map((paint) => ({
      fill: county.dot(paint.color, paint.opacity),
      hatch: county.dot(paint.hatch || paint.color, paint.hatch ? paint.hatch_opacity : paint.opacity),
    }));
    const codes = entry.by ? columns[entry.by].codes() : null;
    const paintOf = (i) => paints[codes ? Math.min(paints.length, codes[i] || paints.length) - 1 : 0];
    return new county.AreaTiles(shapes, {
      pane: entry.under ? "under" : "over",
      edgesFrom: entry.edges_from,
      minZoom: entry.from_zoom,
      urgency: null,
      tables: county.tablesOf(shapes.count, (i) => paintOf(i).fill, (i) => paintOf(i).hatch,
        entry.edge ? county.dot(entry.edge, 0.9) : 0),
    });
  }

  const MAKERS = {
    area: areaLayer,
    line: (entry, shapes, columns) => new county.LineTiles(shapes, {
      pane: "over", color: entry.color, minZoom: entry.from_zoom, wide: entry.wide,
      nameOf: entry.named ? (i) => columns.name.word(i) : null,
    }),
    outline: (entry, shapes, columns) => new county.LineTiles(shapes, {
      pane: "over", color: entry.color, closed: true, wide: 1.6, looks: entry.looks || [],
      lookOf: columns.kind ? ((codes) => (i) => codes[i] - 1)(columns.kind.codes()) : null,
    }),
    point: (entry, shapes) => new county.PointTiles(shapes, { pane: "points", color: entry.color }),
    name: (entry, shapes, columns) => new county.PlaceNames(shapes, columns),
  };

  function addToggle(name, layer, wanted) {
    const box = county.toggles[name];
    box.disabled = false;
    const entry = county.plan.layers.find((candidate) => candidate.name === name);
    box.checked = wanted.with === undefined ? entry.on : wanted.with.split(",").includes(name);
    const apply = () => (box.checked ? layer.addTo(county.map) : layer.remove());
    box.addEventListener("change", function () {
      apply();
      county.element("key-" + name) && (county.element("key-" + name).hidden = !box.checked);
      county.tell("layers");
    });
    apply();
    const key = county.element("key-" + name);
    if (key) key.hidden = !box.checked;
  }

  function makePanes(map) {
    [["relief", 210], ["under", 220], ["parcels", 230], ["over", 240], ["points", 250], ["names", 260]].forEach(function (entry) {
      map.createPane(entry[0]).style.zIndex = entry[1];
      map.getPane(entry[0]).style.pointerEvents = "none";
    });
  }

  function keyboard(map) {
    map.getContainer().addEventListener("keydown", function (event) {
      if (event.key === "Enter" && event.target === map.getContainer()) pick(map.getCenter());
    });
    document.addEventListener("keydown", function (event) {
      if (event.key === "Escape" && !county.drawing && !county.element("card").hidden) county.closeCard();
    });
    county.element("card-close").addEventListener("click", county.closeCard);
  }

  function reliefLayer(plan, wanted) {
    if (!plan.relief) return;
    const [west, south, east, north] = plan.relief.bounds;
    const layer = L.imageOverlay(plan.relief.file, [[south, west], [north, east]], { pane: "relief" });
    addToggle("relief", layer, wanted);
  }

  function baseLayer(plan, wanted) {
    if (!plan.base_map) return;
    const layer = L.tileLayer(plan.base_map.url, { attribution: plan.base_map.attribution, pane: "relief", maxZoom: 20 });
    addToggle("base_map", layer, wanted);
  }

  async function readFacts(wanted) {
    const file = await county.load("facts");
    const given = (file.header.given || []).map((name) => county.given[name]);
    const columns = county.columnsOf(file, file.header.columns, county.parcels.count, given);
    Object.assign(county.given, columns);
    county.facts = Object.assign(columns, county.painted);
    county.scores = new county.Scores(county.plan, county.facts, county.firstClass);
    county.startFilters();
    Object.keys(wanted).filter((key) => key.startsWith("f.")).forEach((key) => {
      county.state.filters[key.slice(2)] = wanted[key];
    });
    county.writeFilters(county.state.filters);
    county.state.filters = county.readFilters();
    refresh();
    county.startSearch();
    county.startSelect();
    county.startWeights();
    const row = wanted.parcel ? county.facts.parcel_id.lines().indexOf(wanted.parcel) : -1;
    if (row >= 0) county.choose(row, wanted.at === undefined);
  }

  async function readLayers(wanted) {
    county.layers = {};
    county.plan.layers.filter((entry) => entry.file === "places").forEach((entry) => addLate(entry, wanted));
    const listed = county.plan.layers.filter((entry) => entry.file === "layers");
    if (!listed.length) return;
    const file = await county.load("layers");
    listed.forEach(function (entry) {
      const shapes = new county.Shapes(file, entry.name);
      const columns = county.columnsOf(file, file.header.layers[entry.name], shapes.count);
      const tiles = MAKERS[entry.kind](entry, shapes, columns);
      county.layers[entry.name] = { shapes: shapes, columns: columns, tiles: tiles };
      addToggle(entry.name, tiles, wanted);
    });
    county.labelZones();
  }

  /* A layer that is read when it is first switched on. */
  function addLate(entry, wanted) {
    let tiles = null;
    const layer = {
      addTo: (map) => county.needPlaces().then(function () {
        const place = county.places[entry.name];
        tiles = tiles || areaLayer(entry, place.shapes, place.columns);
        if (county.toggles[entry.name].checked) tiles.addTo(map);
      }).catch(county.fail),
      remove: () => tiles && tiles.remove(),
    };
    addToggle(entry.name, layer, wanted);
  }

  function readStages(columns) {
    county.painted = {};
    if (!columns.stage) return;
    county.painted = { stage: columns.stage, stage_evidence: columns.stage_evidence };
    county.stage = Uint8Array.from(columns.stage.codes(), (code) => code || county.plan.stages.length);
    const assumed = columns.stage_evidence.words().indexOf("assumed") + 1;
    county.assumed = Uint8Array.from(columns.stage_evidence.codes(), (code) => (code === assumed ? 1 : 0));
  }

  function chooseScore(wanted) {
    document.querySelectorAll("input[name=show]").forEach(function (radio) {
      radio.checked = radio.value === county.state.show;
      radio.addEventListener("change", function () {
        county.state.show = radio.value;
        refresh();
        county.tell("show");
      });
    });
  }

  async function begin(map, plan) {
    const wanted = county.readLink();
    const file = county.unpack("parcels");
    county.parcels = new county.Shapes(file, "shapes");
    const columns = county.columnsOf(file, file.header.columns, county.parcels.count);
    county.given = Object.assign({}, columns);
    county.firstClass = {};
    ["priority", "failure", "groundwater"].forEach((kind) => {
      county.firstClass[kind] = columns[kind + "_class"].codes();
      if (wanted.show === kind) county.state.show = kind;
    });
    readStages(columns);
    if (wanted.show === "stage" && county.stage) county.state.show = "stage";
    makePanes(map);
    county.toggles = {};
    document.querySelectorAll("[data-layer]").forEach((box) => { county.toggles[box.dataset.layer] = box; });
    county.painter = county.makePainter(plan, county.parcels.count);
    county.passes = null;
    county.apart = columns.apart.codes();
    county.painter.update(byStage() ? "stage" : "score", county.classesNow(), byStage() ? county.assumed : county.apart, null, null);
    county.parcelLayer = new county.AreaTiles(county.parcels, {
      pane: "parcels", edgesFrom: 15, urgency: county.firstClass.priority, tables: county.painter.tables,
    });
    reliefLayer(plan, wanted);
    baseLayer(plan, wanted);
    county.place(wanted, plan.bounds);
    county.frameBudget = 400;
    county.parcelLayer.addTo(map);
    county.parcelLayer.once("load", () => requestAnimationFrame(() => setTimeout(() => {
      county.firstPaint = performance.now();
      county.frameBudget = 40;
      rest(map, wanted).catch(county.fail);
    })));
    chooseScore(wanted);
    county.updateLegend();
    keyboard(map);
  }

  async function rest(map, wanted) {
    await readFacts(wanted);
    await readLayers(wanted);
    map.on("click", (event) => pick(event.latlng));
    ["filter", "weights", "selection"].forEach((event) => county.on(event, refresh));
    county.startView();
    document.body.classList.remove("loading");
    county.ready = performance.now();
  }

  county.fail = function (error) {
    county.element("problem").hidden = false;
    county.element("problem-text").textContent = error.message;
    document.body.classList.remove("loading");
    throw error;
  };

  county.start = function (map, plan) {
    county.map = map;
    county.plan = plan;
    map.attributionControl.setPrefix(false);
    map.on("move", () => { county.lastMove = performance.now(); });
    map.setMinZoom(3);
    map.setMaxZoom(20);
    L.control.scale({ maxWidth: 130, imperial: plan.units === "us", metric: plan.units !== "us" }).addTo(map);
    begin(map, plan).catch(county.fail);
  };
})(window.county);
