/* The map of areas: colors by the chosen view, a legend, and the numbers of one area. */
var publicMap = {};
publicMap.start = function (map, layer, plan) {
  "use strict";
  const element = (id) => document.getElementById(id);
  const paths = [];
  let view = plan.views[0], chosen = -1, ring = null;

  function bandOf(area) {
    const value = area.values[view.column];
    if (area.unknown) return "unknown";
    if (value === null) return area.values.systems === 0 ? "none" : "held";
    if (value === undefined) return "unknown";
    if (view.column === "systems" && value === 0) return "none";
    return view.bands.findIndex((band) => value <= band.most);
  }

  function fillOf(band) {
    if (band === "held") return { fillColor: "url(#held)", fillOpacity: 1 };
    if (band === "unknown") return { fillColor: plan.unknown_color, fillOpacity: 1 };
    if (band === "none") return { fillColor: plan.panel, fillOpacity: 0.75 };
    return { fillColor: view.bands[band].color, fillOpacity: 0.88 };
  }

  function word(value) {
    if (value === null) return "withheld";
    return value.toLocaleString("en-US");
  }

  function lines(area) {
    return plan.columns.filter((column) => area.values[column.name] !== undefined)
      .map((column) => [column.label, word(area.values[column.name]) +
        (column.percent && area.values[column.name] !== null ? "%" : ""), column.inset]);
  }

  function cell(kind, text, className) {
    const made = document.createElement(kind);
    made.textContent = text;
    if (className) made.className = className;
    return made;
  }

  function choose(index) {
    chosen = index;
    const area = plan.areas[index];
    element("area-name").textContent = area.name;
    element("area-hint").hidden = true;
    const body = element("area-table").tBodies[0];
    body.replaceChildren(...lines(area).map(function (line) {
      const row = document.createElement("tr"), head = cell("th", line[0]);
      head.scope = "row";
      if (line[2]) row.className = "inset";
      row.append(head, cell("td", line[1], "number"));
      return row;
    }));
    element("area-table").hidden = false;
    if (ring) ring.remove();
    ring = L.polygon(paths[index].getLatLngs(), { fill: false, interactive: false, color: plan.ink, weight: 4 }).addTo(map);
    paths.forEach((path, i) => { if (path) path.getElement().setAttribute("tabindex", i === index ? "0" : "-1"); });
  }

  function move(from, key) {
    const center = (i) => map.options.crs.latLngToPoint(paths[i].getBounds().getCenter(), 12);
    const here = center(from), way = { ArrowRight: [1, 0], ArrowLeft: [-1, 0], ArrowDown: [0, 1], ArrowUp: [0, -1] }[key];
    let best = -1, least = Infinity;
    paths.forEach(function (path, i) {
      if (!path || i === from) return;
      const step = center(i).subtract(here), along = step.x * way[0] + step.y * way[1];
      const across = Math.abs(step.x * way[1]) + Math.abs(step.y * way[0]);
      if (along <= 0 || across > along * 1.8) return;
      const cost = along + 2 * across;
      if (cost < least) { least = cost; best = i; }
    });
    return best;
  }

  function go(index) {
    const path = paths[index];
    choose(index);
    path.getElement().focus({ preventScroll: true });
    if (!map.getBounds().contains(path.getBounds())) map.panInside(path.getBounds().getCenter(), { padding: [60, 60] });
  }

  function label(area) {
    return area.name + ": " + lines(area).map((line) => line[0] + " " + line[1]).join(", ");
  }

  function wire(path, index) {
    const node = path.getElement();
    node.classList.add("area");
    node.setAttribute("role", "button");
    node.setAttribute("tabindex", "-1");
    node.setAttribute("aria-label", label(plan.areas[index]));
    path.on("click", () => go(index));
    node.addEventListener("focus", () => { if (chosen !== index) choose(index); });
    node.addEventListener("keydown", function (event) {
      if (event.key === "Enter" || event.key === " ") choose(index);
      else if (event.key.startsWith("Arrow")) {
        const next = move(index, event.key);
        if (next >= 0) go(next);
      } else return;
      event.preventDefault();
      event.stopPropagation();
    });
  }

  function swatch(fill) {
    const space = "http://www.w3.org/2000/svg";
    const picture = document.createElementNS(space, "svg"), box = document.createElementNS(space, "rect");
    const sides = { x: 0.5, y: 0.5, width: 33, height: 19, rx: 3, fill: fill, stroke: plan.outline };
    Object.keys(sides).forEach((name) => box.setAttribute(name, sides[name]));
    picture.setAttribute("aria-hidden", "true");
    picture.append(box);
    return picture;
  }

  function paint() {
    const counts = {};
    plan.areas.forEach(function (area, index) {
      const band = bandOf(area);
      if (!paths[index]) return;
      counts[band] = (counts[band] || 0) + 1;
      paths[index].setStyle(fillOf(band));
    });
    element("key-title").textContent = view.title;
    const entries = view.bands.map((band, i) => [i, band.label]);
    entries.push(["none", "no onsite system on record"], ["held", "withheld: small numbers"], ["unknown", "not known"]);
    element("key").replaceChildren(...entries.map(function (entry) {
      const item = document.createElement("li");
      item.append(swatch(fillOf(entry[0]).fillColor), cell("span", entry[1]),
        cell("span", counts[entry[0]] ? String(counts[entry[0]]) + (counts[entry[0]] === 1 ? " area" : " areas") : "", "soft small"));
      return item;
    }));
  }

  function background() {
    const box = element("base");
    if (!box || !plan.base_map) return;
    const tiles = L.tileLayer(plan.base_map.url, { attribution: plan.base_map.attribution });
    box.addEventListener("change", () => { if (box.checked) tiles.addTo(map); else tiles.remove(); });
  }

  map.attributionControl.setPrefix("");
  L.control.scale({ metric: plan.units === "si", imperial: plan.units === "us" }).addTo(map);
  map.fitBounds(plan.bounds, { animate: false, padding: [10, 10] });
  layer.eachLayer((path) => { paths[path.feature.id] = path; });
  paths.forEach(wire);
  const first = paths.findIndex((path) => path);
  if (first >= 0) paths[first].getElement().setAttribute("tabindex", "0");
  plan.places.forEach((place) => L.tooltip({ permanent: true, direction: "center", className: "place", interactive: false })
    .setLatLng([place.lat, place.lon]).setContent(cell("span", place.name)).addTo(map));
  document.querySelectorAll("input[name=show]").forEach((input) => input.addEventListener("change", function () {
    view = plan.views.find((one) => one.name === input.value);
    paint();
  }));
  background();
  paint();
  let before = null;
  window.addEventListener("beforeprint", function () {
    before = map.getBounds();
    document.body.classList.add("printing");
    map.invalidateSize({ animate: false });
    map.fitBounds(plan.bounds, { animate: false });
  });
  window.addEventListener("afterprint", function () {
    document.body.classList.remove("printing");
    map.invalidateSize({ animate: false });
    if (before) map.fitBounds(before, { animate: false });
  });
  publicMap.ready = true;
};
