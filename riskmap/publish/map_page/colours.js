/* The colour of every parcel: class, filter, selection -> two tables for the tiles. */
(function (county) {
  "use strict";

  function mix(first, second, share) {
    const part = (text, at) => parseInt(text.slice(at, at + 2), 16);
    return "#" + [1, 3, 5].map((at) => Math.round(part(first, at) * (1 - share) + part(second, at) * share)
      .toString(16).padStart(2, "0")).join("");
  }

  county.makePainter = function (plan, count) {
    const tables = { plain: new Uint32Array(2 * (count + 1)), hatched: new Uint32Array(2 * (count + 1)) };
    const names = plan.classes.map((entry) => entry.name);
    const fills = new Uint32Array(8), edges = new Uint32Array(8), hatches = new Uint32Array(8);
    plan.classes.forEach(function (entry, index) {
      const dark = index < 2;
      fills[index + 1] = hatches[index + 1] = county.dot(entry.colour, 0.86);
      edges[index + 1] = county.dot(mix(entry.colour, dark ? "#ffffff" : plan.colours.ink, dark ? 0.5 : 0.3), 0.95);
    });
    const unranked = names.length;
    hatches[unranked] = county.dot(plan.colours.hatch, 0.8);
    fills[unranked] = county.dot(plan.classes[unranked - 1].colour, 0.6);
    fills[0] = fills[unranked];
    edges[0] = edges[unranked];
    hatches[0] = hatches[unranked];
    const faint = county.dot("#b9bec2", 0.16), faintEdge = county.dot("#7b848c", 0.25);
    const apartHatch = county.dot(plan.colours.hatch, 0.9);
    const chosen = county.dot(plan.colours.selected, 1);

    return {
      tables: tables,
      update: function (classes, apart, passes, selected) {
        const plain = tables.plain, hatched = tables.hatched;
        for (let i = 0; i < count; i++) {
          const at = 2 * i + 2, code = classes[i];
          if (passes && !passes[i]) {
            plain[at] = hatched[at] = faint;
            plain[at + 1] = hatched[at + 1] = faintEdge;
          } else {
            plain[at] = fills[code];
            hatched[at] = apart[i] && code < unranked ? apartHatch : hatches[code];
            plain[at + 1] = hatched[at + 1] = edges[code];
          }
          if (selected && selected[i]) hatched[at] = plain[at + 1] = hatched[at + 1] = chosen;
        }
      },
    };
  };
})(window.county);
