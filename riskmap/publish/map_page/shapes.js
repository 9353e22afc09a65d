/* Shapes as whole numbers (Web-Mercator pixels of zoom 19) with a uniform grid to find them. */
(function (county) {
  "use strict";
  const ZOOM = 19;

  function readVarints(bytes, place, count) {
    const out = new Uint32Array(count);
    let at = place[0];
    for (let i = 0; i < count; i++) {
      let byte = bytes[at++];
      let value = byte & 127;
      let shift = 7;
      while (byte & 128) {
        byte = bytes[at++];
        value |= (byte & 127) << shift;
        shift += 7;
      }
      out[i] = value >>> 0;
    }
    return out;
  }

  function readSteps(bytes, place, count) {
    const coded = readVarints(bytes, place, count);
    const out = new Int32Array(count);
    let value = 0;
    for (let i = 0; i < count; i++) {
      value += (coded[i] >>> 1) ^ -(coded[i] & 1);
      out[i] = value;
    }
    return out;
  }

  function starts(lengths) {
    const out = new Uint32Array(lengths.length + 1);
    for (let i = 0; i < lengths.length; i++) out[i + 1] = out[i] + lengths[i];
    return out;
  }

  class Shapes {
    constructor(file, name) {
      const about = file.header[name];
      this.count = about.count;
      this.shapeStart = starts(readVarints(file.bytes, about.parts, about.count));
      this.ringStart = starts(readVarints(file.bytes, about.sizes, about.rings));
      this.spread(readVarints(file.bytes, about.links, about.vertices),
        readSteps(file.bytes, about.x, about.corners), readSteps(file.bytes, about.y, about.corners));
      this.measure();
      this.makeGrid();
    }

    /* Follows the links: 0 is the next new corner, else a step (zigzag) from the corner before. */
    spread(links, cornerX, cornerY) {
      this.x = new Int32Array(links.length);
      this.y = new Int32Array(links.length);
      let corner = -1, fresh = 0;
      for (let v = 0; v < links.length; v++) {
        const link = links[v];
        if (link === 0) corner = fresh++;
        else corner += ((link - 1) >>> 1) ^ -((link - 1) & 1);
        this.x[v] = cornerX[corner];
        this.y[v] = cornerY[corner];
      }
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
