/* Scores in the page: as they came, or summed again with the weights that a reader moved. */
(function (county) {
  "use strict";
  const KINDS = ["failure", "groundwater"];

  class Scores {
    constructor(plan, facts, classColumns) {
      this.plan = plan;
      this.count = facts.parcel_id.count;
      this.ids = facts.parcel_id;
      this.baseRank = facts.rank;
      this.baseClass = classColumns;
      this.currentClass = Object.assign({}, classColumns);
      this.factors = plan.factors.map((factor) => Object.assign({}, factor, {
        column: facts["limitation:" + factor.name],
        base: factor.weight,
      }));
      this.changed = false;
      this.current = {};
      if (facts.priority) {
        this.current.priority = facts.priority.numbers();
        this.current.failure = facts.failure_score.numbers();
        this.current.groundwater = facts.groundwater_score.numbers();
      } else this.sumScores();
      this.base = Object.assign({}, this.current);
    }

    reset() {
      this.factors.forEach((factor) => { factor.weight = factor.base; });
      this.changed = false;
      this.current = Object.assign({}, this.base);
      this.currentClass = Object.assign({}, this.baseClass);
    }

    setWeight(name, weight) {
      this.factors.find((factor) => factor.name === name).weight = weight;
      if (this.factors.every((factor) => factor.weight === factor.base)) this.reset();
      else this.sum();
    }

    totalWeight(kind) {
      return this.factors.reduce((sum, f) => (f.score === kind ? sum + f.weight : sum), 0);
    }

    sum() {
      this.changed = true;
      this.sumScores();
      ["priority"].concat(KINDS).forEach((kind) => {
        this.currentClass[kind] = this.classify(this.current[kind], this.baseClass[kind]);
      });
    }

    /* score = 100 * sum(weight * limitation) / sum(weight), in the order of the factors. */
    sumScores() {
      KINDS.forEach((kind) => {
        const total = this.totalWeight(kind);
        const out = new Float64Array(this.count);
        this.factors.filter((factor) => factor.score === kind).forEach((factor) => {
          const limitation = factor.column.numbers(), weight = factor.weight;
          for (let i = 0; i < out.length; i++) out[i] += weight * limitation[i];
        });
        for (let i = 0; i < out.length; i++) out[i] = total > 0 ? (100 * out[i]) / total : 0;
        this.current[kind] = out;
      });
      const failure = this.current.failure, groundwater = this.current.groundwater;
      const share = this.plan.failure_share;
      const priority = new Float64Array(this.count);
      for (let i = 0; i < this.count; i++) {
        priority[i] = share * failure[i] + (1 - share) * groundwater[i];
      }
      this.current.priority = priority;
    }

    /* Codes 1 (very high) to 5 (very low), 6 not ranked; what was not ranked stays so. */
    classify(score, base) {
      const bounds = this.plan.class_bounds;
      const out = new Uint8Array(score.length);
      for (let i = 0; i < out.length; i++) {
        const value = score[i];
        if (base[i] === 6 || base[i] === 0 || !(value >= 0)) { out[i] = 6; continue; }
        let code = 5;
        for (let b = 0; b < bounds.length; b++) if (value >= bounds[b]) code = 4 - b;
        out[i] = code;
      }
      return out;
    }

    ranked(i) {
      return this.baseRank.code(i) > 0;
    }

    /* The first `most` parcels by the present priority, highest first, ties by parcel number. */
    top(most, passes) {
      if (!this.changed) return this.topByBase(most, passes);
      const priority = this.current.priority;
      const floor = this.floorOf(most, passes);
      const found = [];
      for (let i = 0; i < this.count; i++) {
        if (priority[i] >= floor && this.ranked(i) && passes[i]) found.push(i);
      }
      return this.ordered(found).slice(0, most);
    }

    topByBase(most, passes) {
      const rank = this.baseRank.numbers(), found = [];
      for (let i = 0; i < this.count; i++) if (passes[i] && rank[i] > 0) found.push(i);
      if (found.length > 4 * most) {
        const sample = Float64Array.from(found, (i) => rank[i]).sort();
        const limit = sample[most - 1];
        return found.filter((i) => rank[i] <= limit).sort((a, b) => rank[a] - rank[b]).slice(0, most);
      }
      return found.sort((a, b) => rank[a] - rank[b]).slice(0, most);
    }

    /* A score that at least `most` parcels reach, from a count in hundredths. */
    floorOf(most, passes) {
      const counts = new Uint32Array(10002), priority = this.current.priority;
      for (let i = 0; i < this.count; i++) {
        if (passes[i] && this.ranked(i) && priority[i] >= 0) counts[Math.floor(priority[i] * 100)]++;
      }
      let sum = 0;
      for (let bin = 10001; bin >= 0; bin--) {
        sum += counts[bin];
        if (sum >= most) return bin / 100;
      }
      return 0;
    }

    ordered(rows) {
      const priority = this.current.priority;
      const ids = this.ids.lines();
      return rows.sort((a, b) => priority[b] - priority[a] || (ids[a] < ids[b] ? -1 : ids[a] > ids[b] ? 1 : 0));
    }

    /* Rank of every parcel under the present weights; 0 for those not ranked. */
    allRanks() {
      if (!this.changed) return Float64Array.from(this.baseRank.numbers(), (r) => (r > 0 ? r : 0));
      const rows = [];
      for (let i = 0; i < this.count; i++) if (this.ranked(i)) rows.push(i);
      const ranks = new Float64Array(this.count);
      this.ordered(rows).forEach((row, place) => { ranks[row] = place + 1; });
      return ranks;
    }

    /* What each factor adds to one score of one parcel, with the most it could add. */
    points(kind, i) {
      const total = this.totalWeight(kind);
      return this.factors.filter((factor) => factor.score === kind && factor.weight > 0).map((factor) => ({
        label: factor.label,
        points: (100 * factor.weight * factor.column.number(i)) / total,
        most: (100 * factor.weight) / total,
      })).sort((a, b) => b.points - a.points);
    }

    /* The changed weights as a fragment of a scoring-model file. */
    toToml(about) {
      const quote = (text) => JSON.stringify(String(text)).replace(/\u007f/g, "\\u007f");
      const lines = ["# Weights changed on the map of " + about.replace(/[\u0000-\u001f\u007f]/g, " "),
        "# Put them into the scoring model in place of its own.", ""];
      KINDS.forEach((kind) => {
        lines.push("[weights." + kind + "]");
        this.factors.filter((factor) => factor.score === kind).forEach((factor) => {
          const mark = factor.weight === factor.base ? "" : "  # was " + factor.base;
          lines.push(quote(factor.name) + " = " + county.decimal(factor.weight) + mark);
        });
        lines.push("");
      });
      return lines.join("\n");
    }
  }

  county.decimal = (value) => (Number.isInteger(value) ? value + ".0" : String(value));
  county.Scores = Scores;
})(window.county);
