/* Two small Leaflet layers that draw on canvas: areas by numbered dots, lines and points by strokes.
   Work is spread over frames so that panning stays smooth. */
(function (county) {
  "use strict";
  const SIZE = 512, KEPT_TO_ZOOM = 13, MOST_KEPT = 32, NAMES_FROM_ZOOM = 15;
  const shared = new ImageData(SIZE, SIZE);
  const dots = new Uint32Array(shared.data.buffer);
  const jobs = [];
  let running = false;
  county.jobsLeft = () => jobs.length;

  /* A job is a generator; it is taken up again in the next frame when the budget is spent. */
  function work() {
    const began = performance.now();
    const budget = began - county.lastMove < 150 ? 7 : county.frameBudget;
    try {
      while (jobs.length && performance.now() - began < budget) {
        if (jobs[0].next().done) jobs.shift();
      }
    } finally {
      running = jobs.length > 0;
      if (running) requestAnimationFrame(work);
    }
  }

  county.finishJobs = function () {
    while (jobs.length) if (jobs[0].next().done) jobs.shift();
  };

  county.frameBudget = 40;
  county.lastMove = -1000;
  county.later = function (job) {
    jobs.push(job);
    if (!running) {
      running = true;
      requestAnimationFrame(work);
    }
  };

  const CanvasTiles = L.GridLayer.extend({
    options: { keepBuffer: 2, updateWhenZooming: false, updateInterval: 60, maxZoom: 21 },

    createTile: function (coords, done) {
      const canvas = document.createElement("canvas");
      canvas.width = canvas.height = SIZE;
      const layer = this;
      county.later((function* () {
        if (!canvas.gone) yield* layer.drawTile(canvas, coords);
        done(null, canvas);
      })());
      return canvas;
    },

    initialize: function (shapes, options) {
      this.shapes = shapes;
      L.setOptions(this, options);
      this.on("tileunload", function (event) {
        event.tile.gone = true;
        event.tile.ids = null;
      });
    },

    eachTile: function (visit) {
      Object.keys(this._tiles || {}).forEach((key) => visit(this._tiles[key].el, this._tiles[key].coords));
    },
  });

  county.AreaTiles = CanvasTiles.extend({
    drawTile: function* (canvas, coords) {
      const edges = coords.z >= this.options.edgesFrom;
      const key = coords.x + ":" + coords.y + ":" + coords.z;
      canvas.ids = this.filled(key) || (yield* county.fillTile(this.shapes, coords, SIZE, this.options.urgency, edges));
      if (coords.z <= KEPT_TO_ZOOM) this.keep(key, canvas.ids);
      yield;
      this.color(canvas);
    },

    /* Far-out tiles hold many shapes: the last few stay filled, should the view come back. */
    keep: function (key, ids) {
      this.kept.delete(key);
      this.kept.set(key, ids);
      if (this.kept.size > MOST_KEPT) this.kept.delete(this.kept.keys().next().value);
    },

    filled: function (key) {
      this.kept = this.kept || new Map();
      return this.kept.get(key);
    },

    color: function (canvas) {
      if (!canvas.ids) return;
      const tables = this.options.tables;
      county.colorTile(canvas.ids, SIZE, dots, tables.plain, tables.hatched);
      canvas.getContext("2d").putImageData(shared, 0, 0);
    },

    recolor: function () {
      this.eachTile((canvas) => this.color(canvas));
    },
  });

  /* Color tables of an area layer whose shapes take one of a few fills. */
  county.tablesOf = function (count, fillOf, hatchOf, edge) {
    const plain = new Uint32Array(2 * (count + 1));
    const hatched = new Uint32Array(2 * (count + 1));
    for (let i = 0; i < count; i++) {
      const fill = fillOf(i);
      plain[2 * i + 2] = fill;
      hatched[2 * i + 2] = hatchOf ? hatchOf(i) : fill;
      plain[2 * i + 3] = hatched[2 * i + 3] = edge || fill;
    }
    return { plain: plain, hatched: hatched };
  };

  /* "#rrggbb" and opacity as one little-endian number. */
  county.dot = function (color, opacity) {
    const value = parseInt(color.slice(1), 16);
    const red = value >> 16, green = (value >> 8) & 255, blue = value & 255;
    return ((Math.round(255 * opacity) << 24) | (blue << 16) | (green << 8) | red) >>> 0;
  };

  county.LineTiles = CanvasTiles.extend({
    drawTile: function* (canvas, coords) {
      const shapes = this.shapes, span = county.pixelsPerTile(coords.z), scale = SIZE / span;
      const x0 = coords.x * span, y0 = coords.y * span, margin = 8 / scale, closed = this.options.closed;
      const pen = canvas.getContext("2d");
      pen.lineJoin = pen.lineCap = "round";
      const width = (coords.z < 12 ? 1.4 : coords.z < 15 ? 2.4 : 3.6) * (this.options.wide || 1);
      const paths = new Map();
      shapes.search(x0 - margin, y0 - margin, x0 + span + margin, y0 + span + margin, (i) => {
        const look = this.options.lookOf ? this.options.lookOf(i) : -1;
        if (!paths.has(look)) paths.set(look, new Path2D());
        const path = paths.get(look);
        for (let ring = shapes.shapeStart[i]; ring < shapes.shapeStart[i + 1]; ring++) {
          const first = shapes.ringStart[ring], last = shapes.ringStart[ring + 1];
          path.moveTo((shapes.x[first] - x0) * scale, (shapes.y[first] - y0) * scale);
          for (let v = first + 1; v < last; v++) {
            path.lineTo((shapes.x[v] - x0) * scale, (shapes.y[v] - y0) * scale);
          }
          if (closed) path.closePath();
        }
      });
      paths.forEach((path, look) => {
        if (closed) {
          pen.setLineDash([]);
          pen.strokeStyle = county.plan.colors.halo;
          pen.lineWidth = width * 2;
          pen.stroke(path);
        }
        const own = (this.options.looks || [])[look] || { color: this.options.color, dash: [] };
        pen.setLineDash(own.dash.map((length) => 2 * length));
        pen.strokeStyle = own.color;
        pen.lineWidth = width;
        pen.stroke(path);
      });
      pen.setLineDash([]);
      if (this.options.nameOf && coords.z >= NAMES_FROM_ZOOM) this.writeNames(pen, x0, y0, span, scale);
    },

    /* Writes each name once a tile, along the longest straight part that has room for it. */
    writeNames: function (pen, x0, y0, span, scale) {
      const shapes = this.shapes, longest = new Map();
      const inside = (x, y) => x > 0 && y > 0 && x < SIZE && y < SIZE;
      shapes.search(x0, y0, x0 + span, y0 + span, (i) => {
        const name = this.options.nameOf(i);
        if (!name) return;
        for (let ring = shapes.shapeStart[i]; ring < shapes.shapeStart[i + 1]; ring++) {
          for (let v = shapes.ringStart[ring] + 1; v < shapes.ringStart[ring + 1]; v++) {
            const ax = (shapes.x[v - 1] - x0) * scale, ay = (shapes.y[v - 1] - y0) * scale;
            const bx = (shapes.x[v] - x0) * scale, by = (shapes.y[v] - y0) * scale;
            const part = clipped(ax, ay, bx, by);
            const known = longest.get(name);
            if (part && inside(part.x, part.y) && (!known || part.length > known.length)) longest.set(name, part);
          }
        }
      });
      pen.font = "600 21px system-ui, sans-serif";
      pen.textAlign = "center";
      pen.textBaseline = "middle";
      pen.lineWidth = 5;
      pen.strokeStyle = county.plan.colors.halo;
      pen.fillStyle = this.options.color;
      longest.forEach(function (part, name) {
        if (pen.measureText(name).width + 16 > part.length) return;
        pen.save();
        pen.translate(part.x, part.y);
        pen.rotate(part.turn);
        pen.strokeText(name, 0, 0);
        pen.fillText(name, 0, 0);
        pen.restore();
      });
    },
  });

  /* The part of a line within the tile: middle, length and turn, text upright. */
  function clipped(ax, ay, bx, by) {
    let from = 0, to = 1;
    for (const [start, change] of [[ax, bx - ax], [ay, by - ay]]) {
      if (change === 0) {
        if (start < 0 || start > SIZE) return null;
        continue;
      }
      const one = -start / change, other = (SIZE - start) / change;
      from = Math.max(from, Math.min(one, other));
      to = Math.min(to, Math.max(one, other));
    }
    if (from >= to) return null;
    const middle = (from + to) / 2, turn = Math.atan2(by - ay, bx - ax);
    return {
      x: ax + middle * (bx - ax), y: ay + middle * (by - ay), length: (to - from) * Math.hypot(bx - ax, by - ay),
      turn: Math.abs(turn) > Math.PI / 2 ? turn - Math.sign(turn) * Math.PI : turn,
    };
  }

  /* Points are small diamonds with a pale rim: unlike any lot, and readable without color. */
  county.PointTiles = CanvasTiles.extend({
    drawTile: function* (canvas, coords) {
      const shapes = this.shapes, span = county.pixelsPerTile(coords.z), scale = SIZE / span;
      const x0 = coords.x * span, y0 = coords.y * span;
      const reach = coords.z < 11 ? 2 : coords.z < 13 ? 3 : coords.z < 15 ? 6 : 10;
      const margin = 12 / scale;
      const pen = canvas.getContext("2d");
      pen.fillStyle = this.options.color;
      pen.strokeStyle = county.plan.colors.halo;
      pen.lineWidth = reach > 5 ? 3 : 1;
      pen.beginPath();
      shapes.search(x0 - margin, y0 - margin, x0 + span + margin, y0 + span + margin, function (i) {
        const [mx, my] = shapes.middle(i);
        const x = (mx - x0) * scale, y = (my - y0) * scale;
        pen.moveTo(x, y - reach);
        pen.lineTo(x + reach, y);
        pen.lineTo(x, y + reach);
        pen.lineTo(x - reach, y);
        pen.closePath();
      });
      pen.stroke();
      pen.fill();
    },
  });
})(window.county);
