/* Shapes as whole numbers (Web-Mercator pixels of zoom 19) with a uniform grid to find them. */
(function (county) {
  "use strict";
  const ZOOM = 19;

  function starts(lengths) {
    const out = new Uint32Array(lengths.length + 1);
    for (let i = 0; i < lengths.length; i++) out[i + 1] = out[i] + lengths[i];
    return out;
  }

  /* Links between corners, each by the kinds of the two before it (see outlines.py). */
  function readLinks(file, place, sizes, count) {
    const kindsAt = 18 * county.NUMBER_PLACES;
    const decoder = new county.Decoder(file.text, place[0], place[1], kindsAt + 36);
    const out = new Uint32Array(count);
    for (let ring = 0, v = 0, before = 0, last = 0; ring < sizes.length; ring++) {
      for (let at = 0; at < sizes[ring]; at++) {
        const context = ((at === 0 ? 1 : 0) * 3 + last) * 3 + before;
        const kind = decoder.bit(kindsAt + 2 * context) ? 1 + decoder.bit(kindsAt + 2 * context + 1) : 0;
        out[v++] = kind === 2 ? decoder.number(context) : 2 * kind;
        before = last;
        last = kind;
      }
    }
    return out;
  }

  const PLAIN_IN_RING = 33, FAR_AT = 66, ASTRAY_AT = FAR_AT + 128, CONTEXTS = ASTRAY_AT + 128, LONGEST_SIDE = 32768;

  /* Which way a side turns from the one before: 0 straight on, 1 right, 2 left, 3 back. */
  function turnOf(dx, dy, ex, ey) {
    const along = dx * ex + dy * ey, across = dy * ex - dx * ey;
    if (Math.abs(along) >= Math.abs(across)) return along >= 0 ? 0 : 3;
    return across >= 0 ? 1 : 2;
  }

  /* Places of all vertices, from links and new corners. */
  class Corners {
    constructor(file, about, sizes) {
      this.x = new Int32Array(about.vertices);
      this.y = new Int32Array(about.vertices);
      this.turnsAt = CONTEXTS * county.NUMBER_PLACES;
      this.decoder = new county.Decoder(file.text, about.corners[0], about.corners[1], this.turnsAt + 64);
      this.history = 0;
      this.lastX = 0;
      this.lastY = 0;
      this.read(readLinks(file, about.links, sizes, about.vertices), sizes);
    }

    read(links, sizes) {
      const x = this.x, y = this.y, firsts = new Uint32Array(links.length);
      let corner = -1, fresh = 0;
      for (let ring = 0, v = 0; ring < sizes.length; ring++) {
        for (let at = 0; at < sizes[ring]; at++, v++) {
          const ex = at >= 2 ? x[v - 1] - x[v - 2] : 0, ey = at >= 2 ? y[v - 1] - y[v - 2] : 0;
          const told = (ex !== 0 || ey !== 0) && Math.max(Math.abs(ex), Math.abs(ey)) < LONGEST_SIDE;
          if (links[v]) {
            corner += ((links[v] - 1) >>> 1) ^ -((links[v] - 1) & 1);
            x[v] = x[firsts[corner]];
            y[v] = y[firsts[corner]];
            if (told) this.history = (this.history * 4 + turnOf(x[v] - x[v - 1], y[v] - y[v - 1], ex, ey)) & 15;
            continue;
          }
          corner = fresh++;
          firsts[corner] = v;
          if (told) this.turned(v, at, ex, ey);
          else this.plain(v, at);
          this.lastX = x[v];
          this.lastY = y[v];
        }
      }
    }

    plain(v, at) {
      const base = at ? PLAIN_IN_RING : 0, coded = this.decoder.number(base);
      this.x[v] = (at ? this.x[v - 1] : this.lastX) + ((coded >>> 1) ^ -(coded & 1));
      this.y[v] = (at ? this.y[v - 1] : this.lastY) + this.decoder.signed(base + 1 + county.lengthOf(coded));
    }

    /* How the side turns, how far it goes, how far it strays from that line. */
    turned(v, at, ex, ey) {
      const x = this.x, y = this.y, decoder = this.decoder;
      const turn = decoder.tree(this.turnsAt + this.history * 4, 2);
      this.history = (this.history * 4 + turn) & 15;
      let a = turn === 0 ? ex : turn === 1 ? -ey : turn === 2 ? ey : -ex;
      let b = turn === 0 ? ey : turn === 1 ? ex : turn === 2 ? -ex : -ey;
      const level = Math.abs(a) >= Math.abs(b);
      if (!level) [a, b] = [b, a];
      let size = Math.max(Math.abs(ex), Math.abs(ey));
      if (turn && at >= 3) size = Math.max(Math.abs(x[v - 2] - x[v - 3]), Math.abs(y[v - 2] - y[v - 3]));
      const far = decoder.number(FAR_AT + turn * 32 + county.lengthOf(size));
      const line = Math.floor((2 * far * Math.abs(b) + Math.abs(a)) / (2 * Math.abs(a)));
      const across = (b > 0 ? line : -line) + decoder.signed(ASTRAY_AT + turn * 32 + county.lengthOf(far));
      const along = a > 0 ? far : -far;
      x[v] = x[v - 1] + (level ? along : across);
      y[v] = y[v - 1] + (level ? across : along);
    }
  }

  class Shapes {
    constructor(file, name) {
      const about = file.header[name], sizes = county.readNumbers(file, about.sizes);
      this.count = about.count;
      this.shapeStart = starts(county.readNumbers(file, about.parts));
      this.ringStart = starts(sizes);
      const corners = new Corners(file, about, sizes);
      this.x = corners.x;
      this.y = corners.y;
      this.measure();
      this.makeGrid();
    }

    measure() {
      const n = this.count;
      this.west = new Int32Array(n);
      this.east = new Int32Array(n);
      this.north = new Int32Array(n);
      this.south = new Int32Array(n);
      for (let i = 0; i < n; i++) {
        let west = Infinity, east = -Infinity, north = Infinity, south = -Infinity;
        const last = this.ringStart[this.shapeStart[i + 1]];
        for (let v = this.ringStart[this.shapeStart[i]]; v < last; v++) {
          const x = this.x[v], y = this.y[v];
          if (x < west) west = x;
          if (x > east) east = x;
          if (y < north) north = y;
          if (y > south) south = y;
        }
        this.west[i] = west;
        this.east[i] = east;
        this.north[i] = north;
        this.south[i] = south;
      }
    }

    makeGrid() {
      let west = Infinity, east = -Infinity, north = Infinity, south = -Infinity;
      for (let i = 0; i < this.count; i++) {
        west = Math.min(west, this.west[i]);
        east = Math.max(east, this.east[i]);
        north = Math.min(north, this.north[i]);
        south = Math.max(south, this.south[i]);
      }
      this.bounds = [west, north, east, south];
      const area = Math.max(1, (east - west + 1) * (south - north + 1));
      this.cell = Math.max(1, Math.ceil(Math.sqrt(area / Math.max(1, this.count / 3))));
      this.columns = Math.floor((east - west) / this.cell) + 1;
      this.rows = Math.floor((south - north) / this.cell) + 1;
      const counts = new Uint32Array(this.columns * this.rows + 1);
      this.eachCell((cell) => { counts[cell + 1]++; });
      for (let c = 0; c < counts.length - 1; c++) counts[c + 1] += counts[c];
      this.cellStart = counts;
      const next = counts.slice();
      this.members = new Uint32Array(counts[counts.length - 1]);
      this.eachCell((cell, i) => { this.members[next[cell]++] = i; });
      this.stamp = new Uint32Array(this.count);
      this.round = 0;
    }

    eachCell(visit) {
      for (let i = 0; i < this.count; i++) {
        const c1 = Math.floor((this.east[i] - this.bounds[0]) / this.cell);
        const r1 = Math.floor((this.south[i] - this.bounds[1]) / this.cell);
        for (let r = Math.floor((this.north[i] - this.bounds[1]) / this.cell); r <= r1; r++) {
          for (let c = Math.floor((this.west[i] - this.bounds[0]) / this.cell); c <= c1; c++) {
            visit(r * this.columns + c, i);
          }
        }
      }
    }

    /* Visits every shape whose box touches the given box, each once. */
    search(west, north, east, south, visit) {
      if (!this.count) return;
      const clip = (value, top) => Math.max(0, Math.min(top, value));
      if (east < this.bounds[0] || west > this.bounds[2]) return;
      if (south < this.bounds[1] || north > this.bounds[3]) return;
      const c0 = clip(Math.floor((west - this.bounds[0]) / this.cell), this.columns - 1);
      const c1 = clip(Math.floor((east - this.bounds[0]) / this.cell), this.columns - 1);
      const r0 = clip(Math.floor((north - this.bounds[1]) / this.cell), this.rows - 1);
      const r1 = clip(Math.floor((south - this.bounds[1]) / this.cell), this.rows - 1);
      const round = ++this.round;
      for (let r = r0; r <= r1; r++) {
        for (let c = c0; c <= c1; c++) {
          const cell = r * this.columns + c;
          for (let m = this.cellStart[cell]; m < this.cellStart[cell + 1]; m++) {
            const i = this.members[m];
            if (this.stamp[i] === round) continue;
            this.stamp[i] = round;
            if (this.east[i] < west || this.west[i] > east) continue;
            if (this.south[i] < north || this.north[i] > south) continue;
            visit(i);
          }
        }
      }
    }

    holds(i, x, y) {
      let inside = false;
      for (let ring = this.shapeStart[i]; ring < this.shapeStart[i + 1]; ring++) {
        const first = this.ringStart[ring], last = this.ringStart[ring + 1];
        for (let v = first, w = last - 1; v < last; w = v++) {
          const y0 = this.y[v], y1 = this.y[w];
          if ((y0 > y) !== (y1 > y) &&
              x < (this.x[w] - this.x[v]) * (y - y0) / (y1 - y0) + this.x[v]) inside = !inside;
        }
      }
      return inside;
    }

    /* The shape at a place, the smallest if several overlap; -1 if none. */
    at(x, y) {
      let found = -1, size = Infinity;
      this.search(x, y, x, y, (i) => {
        const area = (this.east[i] - this.west[i]) * (this.south[i] - this.north[i]);
        if (area < size && this.holds(i, x, y)) { found = i; size = area; }
      });
      return found;
    }

    /* The nearest shape whose middle lies within `reach`; -1 if none. For points. */
    near(x, y, reach) {
      let found = -1, best = reach * reach;
      this.search(x - reach, y - reach, x + reach, y + reach, (i) => {
        const [mx, my] = this.middle(i);
        const distance = (mx - x) ** 2 + (my - y) ** 2;
        if (distance <= best) { found = i; best = distance; }
      });
      return found;
    }

    middle(i) {
      return [(this.west[i] + this.east[i]) / 2, (this.north[i] + this.south[i]) / 2];
    }

    rings(i) {
      const out = [];
      for (let ring = this.shapeStart[i]; ring < this.shapeStart[i + 1]; ring++) {
        const corners = [];
        for (let v = this.ringStart[ring]; v < this.ringStart[ring + 1]; v++) {
          corners.push(county.toDegrees(this.x[v], this.y[v]));
        }
        out.push(corners);
      }
      return out;
    }

    box(i) {
      return L.latLngBounds(
        county.toDegrees(this.west[i], this.south[i]),
        county.toDegrees(this.east[i], this.north[i])
      );
    }
  }

  county.Shapes = Shapes;
  county.toDegrees = (x, y) => L.CRS.EPSG3857.pointToLatLng(L.point(x, y), ZOOM);
  county.toPixels = (place) => L.CRS.EPSG3857.latLngToPoint(place, ZOOM);
  county.pixelsPerTile = (zoom) => 256 * 2 ** (ZOOM - zoom);
})(window.county);
