/* The address line holds the view: a link opens the map as it was. Print and phone as well. */
(function (county) {
  "use strict";
  let ready = false;

  county.readLink = function () {
    const wanted = {};
    new URLSearchParams(location.hash.slice(1)).forEach((value, key) => { wanted[key] = value; });
    return wanted;
  };

  county.writeLink = function () {
    if (!ready) return;
    const center = county.map.getCenter(), parts = new URLSearchParams();
    parts.set("at", [center.lat.toFixed(5), center.lng.toFixed(5), Math.round(county.map.getZoom() * 100) / 100].join(","));
    parts.set("show", county.state.show);
    parts.set("with", Object.keys(county.toggles).filter((name) => county.toggles[name].checked).join(","));
    Object.keys(county.state.filters).forEach((name) => parts.set("f." + name, county.state.filters[name]));
    if (county.state.parcel >= 0 && county.facts) parts.set("parcel", county.facts.parcel_id.word(county.state.parcel));
    try {
      history.replaceState(null, "", "#" + parts.toString());
    } catch (refused) {
      location.hash = parts.toString();
    }
  };

  county.place = function (wanted, bounds) {
    const parts = (wanted.at || "").split(",").map(Number);
    if (parts.length === 3 && parts.every(Number.isFinite) && Math.abs(parts[0]) < 86 && Math.abs(parts[1]) <= 360) {
      county.map.setView([parts[0], parts[1]], Math.max(3, Math.min(20, parts[2])), { animate: false });
    } else county.fitWhole(bounds, [12, 12]);
  };

  /* Fills the view: between the steps that the zoom buttons make. */
  county.fitWhole = function (bounds, padding) {
    const options = county.map.options, step = options.zoomSnap;
    options.zoomSnap = 0;
    county.map.fitBounds(bounds, { animate: false, padding: padding });
    options.zoomSnap = step;
  };

  /* Paper has another shape than the screen: draw the same ground again, at once. */
  function fit(bounds) {
    county.map.invalidateSize({ animate: false, pan: false });
    county.fitWhole(bounds, [0, 0]);
    county.finishJobs();
  }

  county.startView = function () {
    ready = true;
    let due = 0;
    county.map.on("moveend", function () {
      clearTimeout(due);
      due = setTimeout(county.writeLink, 200);
    });
    ["show", "filter", "layers", "parcel"].forEach((event) => county.on(event, county.writeLink));
    const panel = county.element("panel"), button = county.element("panel-button");
    button.addEventListener("click", function () {
      const open = document.body.classList.toggle("panel-open");
      button.setAttribute("aria-expanded", String(open));
      if (open) panel.focus();
    });
    let before = null;
    window.addEventListener("beforeprint", function () {
      before = county.map.getBounds();
      document.body.classList.add("printing");
      fit(before);
    });
    window.addEventListener("afterprint", function () {
      document.body.classList.remove("printing");
      if (before) fit(before);
    });
    county.element("print").addEventListener("click", () => window.print());
    county.element("copy-link").addEventListener("click", function () {
      county.writeLink();
      const done = () => county.announce("Link copied");
      if (navigator.clipboard) navigator.clipboard.writeText(location.href).then(done, () => {});
      county.element("copy-note").textContent = "The address line above now holds this view.";
    });
  };
})(window.county);
