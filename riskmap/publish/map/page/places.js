/* Likely treatment areas and room for another field: read when first used, drawn at large scales. */
(function (county) {
  "use strict";
  let reading = null, drawn = null;

  county.needPlaces = function () {
    if (!county.plan.files.includes("places")) return Promise.resolve(null);
    if (!reading) {
      reading = county.load("places").then(function (file) {
        county.places = {};
        county.plan.layers.filter((entry) => entry.file === "places").forEach(function (entry) {
          const shapes = new county.Shapes(file, entry.name);
          const columns = county.columnsOf(file, file.header.layers[entry.name], shapes.count);
          const byRow = new Map();
          for (let i = 0; i < shapes.count; i++) byRow.set(columns.row.number(i), i);
          county.places[entry.name] = { shapes: shapes, columns: columns, byRow: byRow };
        });
      });
    }
    return reading;
  };

  const LINES = {
    treatment_areas: { dashArray: "7 5", words: "dashed, its likely treatment area" },
    replacement_places: { dashArray: "1 5", words: "dotted, the best room for another field" },
  };

  /* Draws the shapes on one lot; returns words on what is drawn. */
  county.drawPlaces = function (row) {
    county.clearPlaces();
    if (!county.places) return "";
    const words = [];
    drawn = L.layerGroup().addTo(county.map);
    Object.keys(LINES).forEach(function (name) {
      const layer = county.places[name], at = layer ? layer.byRow.get(row) : undefined;
      if (at === undefined) return;
      const entry = county.plan.layers.find((candidate) => candidate.name === name);
      const rings = layer.shapes.rings(at);
      drawn.addLayer(L.polygon(rings, { color: county.plan.colors.halo, weight: 6, fill: false, interactive: false }));
      drawn.addLayer(L.polygon(rings, { color: entry.color, weight: 3, lineCap: "round", fill: false, interactive: false,
        dashArray: LINES[name].dashArray }));
      words.push(LINES[name].words);
    });
    return words.length ? "On the map: " + words.join("; ") + "." : "";
  };

  county.clearPlaces = function () {
    if (drawn) drawn.remove();
    drawn = null;
  };
})(window.county);
