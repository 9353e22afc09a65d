/* Fills a square picture with the number of the shape at each dot, so that a change of colors is
   one look-up a dot however many shapes there are. */
(function (county) {
  "use strict";

  let crossings = new Float64Array(4096);
  let following = new Int32Array(4096);
  let used = 0;
  let heads = new Int32Array(0);

  function grow() {
    const larger = new Float64Array(crossings.length * 2);
    larger.set(crossings);
    crossings = larger;
    const links = new Int32Array(crossings.length);
    links.set(following);
    following = links;
  }

  /* Keeps the crossings of one row sorted from west to east. */
  function insert(row, x) {
    if (used === crossings.length) grow();
    const node = used++;
    crossings[node] = x;
    let previous = -1, current = heads[row];
    while (current >= 0 && crossings[current] < x) {
      previous = current;
      current = following[current];
    }
    following[node] = current;
    if (previous < 0) heads[row] = node;
    else following[previous] = node;
  }

  function crossEdge(ax, ay, bx, by, size) {
    if (ay > by) return crossEdge(bx, by, ax, ay, size);
    const first = Math.max(0, Math.ceil(ay - 0.5));
    const last = Math.min(size - 1, Math.ceil(by - 0.5) - 1);
    if (first > last) return;
    const slope = (bx - ax) / (by - ay);
    let x = ax + (first + 0.5 - ay) * slope;
    for (let row = first; row <= last; row++, x += slope) insert(row, x);
  }

  function fillRow(ids, row, size, value) {
    let node = heads[row];
    heads[row] = -1;
    while (node >= 0 && following[node] >= 0) {
      const end = following[node];
      const from = Math.max(0, Math.ceil(crossings[node] - 0.5));
      const to = Math.min(size - 1, Math.ceil(crossings[end] - 0.5) - 1);
      const offset = row * size;
      if (to - from > 24) ids.fill(value, offset + from, offset + to + 1);
      else for (let c = from; c <= to; c++) ids[offset + c] = value;
      node = following[end];
    }
  }

  function fillShape(ids, shapes, i, x0, y0, scale, size) {
    const value = (i + 1) << 1;
    used = 0;
    for (let ring = shapes.shapeStart[i]; ring < shapes.shapeStart[i + 1]; ring++) {
      const first = shapes.ringStart[ring], last = shapes.ringStart[ring + 1];
      let ax = (shapes.x[last - 1] - x0) * scale, ay = (shapes.y[last - 1] - y0) * scale;
      for (let v = first; v < last; v++) {
        const bx = (shapes.x[v] - x0) * scale, by = (shapes.y[v] - y0) * scale;
        crossEdge(ax, ay, bx, by, size);
        ax = bx;
        ay = by;
      }
    }
    const top = Math.max(0, Math.floor((shapes.north[i] - y0) * scale));
    const bottom = Math.min(size - 1, Math.ceil((shapes.south[i] - y0) * scale));
    for (let row = top; row <= bottom; row++) if (heads[row] >= 0) fillRow(ids, row, size, value);
  }

  /* A shape smaller than a few dots: one dot, which the more urgent of two shapes keeps. */
  function dotShape(ids, shapes, i, x0, y0, scale, size, urgency) {
    const column = Math.floor(((shapes.west[i] + shapes.east[i]) / 2 - x0) * scale);
    const row = Math.floor(((shapes.north[i] + shapes.south[i]) / 2 - y0) * scale);
    if (column < 0 || row < 0 || column >= size || row >= size) return;
    const at = row * size + column;
    const there = ids[at] >> 1;
    if (there === 0 || urgency[i] < urgency[there - 1]) ids[at] = (i + 1) << 1;
  }

  /* Marks the dots where one shape ends and another begins. */
  function markEdges(ids, size) {
    for (let row = size - 1; row >= 0; row--) {
      for (let column = size - 1; column >= 0; column--) {
        const at = row * size + column;
        const here = ids[at] >> 1;
        if (here === 0) continue;
        if ((column > 0 && ids[at - 1] >> 1 !== here) || (row > 0 && ids[at - size] >> 1 !== here)) {
          ids[at] |= 1;
        }
      }
    }
  }

  /* Fills one tile; a generator that rests every so often, so that the page never stalls. */
  county.fillTile = function* (shapes, coords, size, urgency, edges) {
    const span = county.pixelsPerTile(coords.z);
    const x0 = coords.x * span, y0 = coords.y * span, scale = size / span;
    if (heads.length < size) heads = new Int32Array(size).fill(-1);
    const found = [];
    shapes.search(x0, y0, x0 + span, y0 + span, (i) => { found.push(i); });
    if (!found.length) return null;
    yield;
    const ids = new Uint32Array(size * size);
    for (let at = 0; at < found.length; at++) {
      const i = found[at];
      const width = (shapes.east[i] - shapes.west[i]) * scale;
      const height = (shapes.south[i] - shapes.north[i]) * scale;
      if (width < 2.5 && height < 2.5 && urgency) {
        dotShape(ids, shapes, i, x0, y0, scale, size, urgency);
      } else fillShape(ids, shapes, i, x0, y0, scale, size);
      if ((at & 511) === 511) yield;
    }
    if (edges) markEdges(ids, size);
    return ids;
  };

  /* Colors are two tables, one for plain dots and one for the dots of a diagonal hatch. */
  county.colorTile = function (ids, size, out, plain, hatched) {
    let at = 0;
    for (let row = 0; row < size; row++) {
      for (let column = 0; column < size; column++, at++) {
        const value = ids[at];
        out[at] = ((row + column) & 15) < 4 ? hatched[value] : plain[value];
      }
    }
  };
})(window.county);
