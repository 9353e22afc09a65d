/* Names of places: the larger place first, and none over another. */
(function (county) {
  "use strict";

  const GAP = 6;

  county.PlaceNames = L.Layer.extend({
    initialize: function (shapes, columns) {
      const first = columns.first.numbers();
      this.places = Array.from({ length: shapes.count }, function (_, i) {
        const [x, y] = shapes.middle(i);
        return { at: county.toDegrees(x, y), name: columns.name.word(i), first: first[i] };
      }).sort((a, b) => a.first - b.first);
    },

    onAdd: function (map) {
      const pane = map.getPane("names");
      this.places.forEach(function (place) {
        place.sign = L.DomUtil.create("div", "place-name", pane);
        place.sign.textContent = place.name;
      });
      map.on("moveend", this.put, this).on("zoomstart", this.hide, this);
      this.put();
    },

    onRemove: function (map) {
      map.off("moveend", this.put, this).off("zoomstart", this.hide, this);
      this.places.forEach((place) => place.sign.remove());
    },

    hide: function () {
      this.places.forEach((place) => { place.sign.hidden = true; });
    },

    put: function () {
      const map = this._map, size = map.getSize(), taken = [];
      this.places.forEach(function (place) {
        const spot = map.latLngToContainerPoint(place.at);
        place.sign.hidden = spot.x < 0 || spot.y < 0 || spot.x > size.x || spot.y > size.y;
        if (place.sign.hidden) return;
        const half = place.sign.offsetWidth / 2 + GAP, tall = place.sign.offsetHeight / 2 + GAP;
        const over = (one) => Math.abs(one.x - spot.x) < one.half + half && Math.abs(one.y - spot.y) < one.tall + tall;
        place.sign.hidden = taken.some(over);
        if (place.sign.hidden) return;
        taken.push({ x: spot.x, y: spot.y, half, tall });
        const corner = [place.sign.offsetWidth / 2, place.sign.offsetHeight / 2];
        L.DomUtil.setPosition(place.sign, map.latLngToLayerPoint(place.at).subtract(corner));
      });
    },
  });
})(window.county);
