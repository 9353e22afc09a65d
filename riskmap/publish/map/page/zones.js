/* Planners' zones: a label each, a card that says why, and a filter by zone. */
(function (county) {
  "use strict";
  const SMALLEST_LABELED = 34;

  function show(index) {
    const zones = county.layers.zones, columns = zones.columns;
    const name = columns.name.word(index);
    const body = county.openCard("Zone");
    body.appendChild(county.make("h2")).appendChild(county.make("bdi", "", "Zone " + name));
    body.appendChild(county.make("h3", "", "Why"));
    body.appendChild(county.make("p")).appendChild(county.make("bdi", "", columns.why.word(index) || "No reason recorded."));
    const list = body.appendChild(county.make("dl", "facts"));
    county.plan.zone_facts.forEach(function (entry) {
      const column = columns[entry.column], number = column ? column.number(index) : NaN;
      if (column) {
        county.factLine(list, entry.label, Number.isFinite(number)
          ? county.withUnit(county.figure(number, column.about.decimals), entry.unit) : "");
      }
    });
    const buttons = body.appendChild(county.make("div", "buttons"));
    const only = buttons.appendChild(county.make("button", "", "Show only its parcels"));
    only.type = "button";
    only.addEventListener("click", function () {
      county.showOnly(Object.assign({}, county.state.filters, { zone: name }));
    });
    body.appendChild(county.make("p", "small warn", "A screening area for planning, not a delineation. Local law and a licensed " +
      "hydrogeologist decide."));
    county.ring(null);
    county.clearPlaces();
    if (county.outline) county.outline.remove();
    county.outline = L.polygon(zones.shapes.rings(index), { color: county.plan.colors.ink, weight: 3, fill: false,
      interactive: false }).addTo(county.map);
  }

  county.showZone = function (name) {
    const zones = county.layers && county.layers.zones;
    if (!zones) return;
    for (let index = 0; index < zones.shapes.count; index++) {
      if (zones.columns.name.word(index) === name) {
        const box = zones.shapes.box(index);
        if (!county.map.getBounds().contains(box)) county.map.fitBounds(box, { animate: false, padding: [30, 30] });
        return show(index);
      }
    }
  };

  county.zoneAt = function (x, y) {
    const zones = county.layers && county.layers.zones;
    if (!zones || !county.map.hasLayer(zones.tiles)) return false;
    const index = zones.shapes.at(x, y);
    if (index < 0) return false;
    county.state.parcel = -1;
    show(index);
    return true;
  };

  /* Labels are buttons: Tab reaches them, Enter opens the card. They come and go with the layer. */
  county.labelZones = function () {
    const zones = county.layers.zones;
    if (!zones) return;
    const labels = L.layerGroup(), tags = [];
    for (let index = 0; index < zones.shapes.count; index++) {
      const name = zones.columns.name.word(index);
      const tag = county.make("span", "zone-tag", name.split(":")[0].slice(0, 12));
      const place = county.toDegrees(zones.columns.label_x.number(index), zones.columns.label_y.number(index));
      const marker = L.marker(place, { icon: L.divIcon({ html: tag, className: "zone-label", iconSize: null }),
        alt: "Zone " + name, title: "Zone " + name, keyboard: true });
      const open = function () {
        if (county.drawing) return;
        county.state.parcel = -1;
        show(index);
      };
      marker.on("click", open);
      marker.on("keydown", (event) => event.originalEvent.key === "Enter" && open());
      tags.push({ marker: marker, size: Math.max(zones.shapes.east[index] - zones.shapes.west[index],
        zones.shapes.south[index] - zones.shapes.north[index]) });
    }
    /* A zone that is smaller on the screen than its label gets none. */
    function fit() {
      tags.forEach(function (tag) {
        if (tag.size / 2 ** (19 - county.map.getZoom()) >= SMALLEST_LABELED) labels.addLayer(tag.marker);
        else labels.removeLayer(tag.marker);
      });
    }
    county.map.on("zoomend", fit);
    fit();
    zones.tiles.on("add", () => labels.addTo(county.map)).on("remove", () => labels.remove());
    if (county.map.hasLayer(zones.tiles)) labels.addTo(county.map);
  };
})(window.county);
