/* Scores in the page: as they came, or summed again with the weights that a reader moved. */
(function (county) {
  "use strict";
  const KINDS = ["failure", "groundwater"];

  /* To three decimals, a half to the even neighbor, as numpy does. */
  function rounded(value) {
    const wide = value * 1000;
    let whole = Math.round(wide);
    if (whole - wide === 0.5 && whole % 2 !== 0) whole -= 1;
    return whole / 1000;
  }

  class Scores {
    constructor(plan, facts, classColumns) {
      this.plan = plan;
      this.count = facts.parcel_id.count;
      this.ids = facts.parcel_id;
      this.baseRank = facts.rank;
      this.baseClass = classColumns;
      this.currentClass = Object.assign({}, classColumns);
      this.factors = plan.factors.map((factor) => Object.assign({}, factor, { base: factor.weight }));
      this.changed = false;
      this.current = {
        priority: facts.priority.numbers(),
        failure: facts.failure_score.numbers(),
        groundwater: facts.groundwater_score.numbers(),
      };
      this.base = Object.assign({}, this.current);
    }

    takeLimitations(facts) {
      this.factors.forEach((factor) => { factor.column = facts["limitation:" + factor.name]; });
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
        this.currentClass[kind] = this.classify(this.current[kind], this.baseClass[kind], kind === "priority");
      });
    }

    /* As in Python: points = round(limitation * weight * scale, 3); a score is the sum of points. */
    sumScores() {
      KINDS.forEach((kind) => {
        const scale = this.scale(kind);
        const out = new Float64Array(this.count);
        this.factors.filter((factor) => factor.score === kind).forEach((factor) => {
          const limitation = factor.column.numbers(), weight = factor.weight;
          for (let i = 0; i < out.length; i++) out[i] += rounded(limitation[i] * weight * scale);
        });
        for (let i = 0; i < out.length; i++) out[i] = rounded(Math.min(100, out[i]));
        this.current[kind] = out;
      });
      this.current.priority = this.plan.by_water ? this.followWater() : this.base.priority;
    }

    /* The chance stays; where the aim multiplies it by the groundwater score, the priority follows that score. */
    followWater() {
      const before = this.base.groundwater, after = this.current.groundwater;
      return Float64Array.from(this.base.priority, (value, i) =>
        (before[i] > 0 ? rounded(value * after[i] / before[i]) : value));
    }

    /* Whether the list has another order than the run's. */
    get reordered() {
      return this.changed && this.plan.by_water;
    }

    /* Points that one unit of weight is worth. */
    scale(kind) {
      const total = this.totalWeight(kind);
      return total > 0 ? 100 / total : 0;
    }

    /* Code 1 is on file and stays, 2 to 5 go by what seasons of visits reach, 6 not ranked stays so. */
    classify(score, base, byList) {
      const line = new Float64Array(score.length), out = new Uint8Array(score.length);
      let count = 0;
      for (let i = 0; i < score.length; i++) {
        if (this.ranked(i) && score[i] >= 0 && !(byList && base[i] === 1)) line[count++] = score[i];
      }
      const sorted = line.subarray(0, count).sort();
      const ends = this.plan.class_places.map((place) => (place > 0 && place <= count ? sorted[count - place] : -Infinity));
      for (let i = 0; i < out.length; i++) {
        if (base[i] === 6 || base[i] === 0 || !(score[i] >= 0)) out[i] = 6;
        else if (base[i] === 1) out[i] = 1;
        else out[i] = 2 + ends.filter((end) => score[i] < end).length;
      }
      return out;
    }

    ranked(i) {
      return this.baseRank.code(i) > 0;
    }

    /* The first `most` parcels by the present priority. */
    top(most, passes) {
      if (!this.reordered) return this.topByBase(most, passes);
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

    /* Highest priority first; ties by failure, then groundwater, then parcel number as text. */
    ordered(rows) {
      const { priority, failure, groundwater } = this.current;
      const ids = this.ids.lines();
      return rows.sort((a, b) => priority[b] - priority[a] || failure[b] - failure[a] ||
        groundwater[b] - groundwater[a] || (ids[a] < ids[b] ? -1 : ids[a] > ids[b] ? 1 : 0));
    }

    /* Rank of every parcel under the present weights; 0 for those not ranked. */
    allRanks() {
      if (!this.reordered) return Float64Array.from(this.baseRank.numbers(), (r) => (r > 0 ? r : 0));
      const rows = [];
      for (let i = 0; i < this.count; i++) if (this.ranked(i)) rows.push(i);
      const ranks = new Float64Array(this.count);
      this.ordered(rows).forEach((row, place) => { ranks[row] = place + 1; });
      return ranks;
    }

    /* What each factor adds to one score of one parcel, with the most it could add. */
    points(kind, i) {
      const scale = this.scale(kind);
      return this.factors.filter((factor) => factor.score === kind && factor.weight > 0).map((factor) => ({
        label: factor.label,
        points: rounded(factor.column.number(i) * factor.weight * scale),
        most: factor.weight * scale,
      })).sort((a, b) => b.points - a.points);
    }

    /* The scoring-model file with the present weights; a bare table of weights if there is none. */
    toToml(about) {
      const head = "# Weights changed on the map of " + about.replace(/[\u0000-\u001f\u007f]/g, " ") + "\n";
      const whole = this.plan.model_text && this.withWeights(this.plan.model_text);
      if (whole) return head + whole;
      const quote = (text) => JSON.stringify(String(text)).replace(/\u007f/g, "\\u007f");
      const lines = this.factors.map((factor) => quote(factor.name) + " = " + county.decimal(factor.weight));
      return head + "\n[weights]\n" + lines.join("\n") + "\n";
    }

    /* Puts the present weights into the text of a model file, factor by factor; null if one fails. */
    withWeights(text) {
      const blocks = text.split(/^(?=\[\[factor\]\])/m);
      const left = new Map(this.factors.map((factor) => [factor.name, factor.weight]));
      const out = blocks.map(function (block) {
        const name = /^name\s*=\s*"([^"\\]*)"/m.exec(block);
        if (!block.startsWith("[[factor]]") || !name || !left.has(name[1])) return block;
        if (!/^weight\s*=/m.test(block)) return block;
        const weight = county.decimal(left.get(name[1]));
        left.delete(name[1]);
        return block.replace(/^weight\s*=\s*[-+0-9.eE_]+/m, "weight = " + weight);
      });
      return left.size ? null : out.join("");
    }
  }

  county.decimal = (value) => (Number.isInteger(value) ? value + ".0" : String(value));
  county.Scores = Scores;
})(window.county);
