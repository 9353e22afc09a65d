/* The color of every parcel: class or state, filter, selection -> two tables for the tiles. */
(function (county) {
  "use strict";

  const part = (text, at) => parseInt(text.slice(at, at + 2), 16);

  function mix(first, second, share) {
    return "#" + [1, 3, 5].map((at) => Math.round(part(first, at) * (1 - share) + part(second, at) * share)
      .toString(16).padStart(2, "0")).join("");
  }

  const dark = (color) => 0.3 * part(color, 1) + 0.59 * part(color, 3) + 0.11 * part(color, 5) < 95;

  /* Fill, hatch and edge by code; the last entry, and code 0, is what nothing is known of. */
  function lookOf(entries, colors) {
    const look = { none: entries.length, fills: new Uint32Array(8), edges: new Uint32Array(8), hatches: new Uint32Array(8) };
    entries.forEach(function (entry, index) {
      const deep = dark(entry.color);
      look.fills[index + 1] = look.hatches[index + 1] = county.dot(entry.color, 0.86);
      look.edges[index + 1] = county.dot(mix(entry.color, deep ? colors.halo : colors.ink, deep ? 0.5 : 0.3), 0.95);
    });
    look.hatches[look.none] = county.dot(colors.hatch, 0.8);
    look.fills[look.none] = county.dot(entries[look.none - 1].color, 0.6);
    [look.fills, look.edges, look.hatches].forEach((table) => { table[0] = table[look.none]; });
    return look;
  }

  county.makePainter = function (plan, count) {
    const tables = { plain: new Uint32Array(2 * (count + 1)), hatched: new Uint32Array(2 * (count + 1)) };
    const looks = { score: lookOf(plan.classes, plan.colors), stage: lookOf(plan.stages, plan.colors) };
    const faint = county.dot(plan.colors.faint, 0.16), faintEdge = county.dot(plan.colors.hatch, 0.25);
    const apartHatch = county.dot(plan.colors.hatch, 0.9);
    const chosen = county.dot(plan.colors.selected, 1);

    return {
      tables: tables,
      update: function (name, classes, hatch, passes, selected) {
        const plain = tables.plain, hatched = tables.hatched;
        const { fills, edges, hatches, none } = looks[name];
        for (let i = 0; i < count; i++) {
          const at = 2 * i + 2, code = classes[i];
          if (passes && !passes[i]) {
            plain[at] = hatched[at] = faint;
            plain[at + 1] = hatched[at + 1] = faintEdge;
          } else {
            plain[at] = fills[code];
            hatched[at] = hatch[i] && code && code < none ? apartHatch : hatches[code];
            plain[at + 1] = hatched[at + 1] = edges[code];
          }
          if (selected && selected[i]) hatched[at] = plain[at + 1] = hatched[at + 1] = chosen;
        }
      },
    };
  };
})(window.county);
