/* How sure a parcel's place on the list is: ranges and a chance, in words. */
(function (county) {
  "use strict";

  function chanceWords(percent) {
    const found = county.plan.doubt.words.find((entry) => percent >= entry[0]);
    const number = percent < 1 ? "under 1" : percent > 99 ? "over 99" : "about " + percent;
    return number + " in 100 (" + found[1] + ")";
  }

  /* The range on a scale from 0 to 100, with the score itself as a mark. */
  function scale(low, high, score) {
    const track = county.make("div", "span-track");
    track.setAttribute("aria-hidden", "true");
    const range = track.appendChild(county.make("span", "span-range"));
    range.style.left = low + "%";
    range.style.width = Math.max(1, high - low) + "%";
    track.appendChild(county.make("span", "span-mark")).style.left = Math.min(100, score) + "%";
    return track;
  }

  const whole = (value) => county.figure(value);

  county.doubtSection = function (row) {
    const facts = county.facts, plan = county.plan.doubt;
    if (!plan || !Number.isFinite(facts.rank_low.number(row))) return null;
    const box = county.make("div", "doubt");
    box.appendChild(county.make("h3", "", "How sure this is"));
    const low = facts.priority_low.number(row), high = facts.priority_high.number(row);
    const score = facts.priority.number(row);
    box.appendChild(county.make("p", "", "Priority " + score.toFixed(0) + ", likely between " + low + " and " + high + "."));
    box.appendChild(scale(low, high, score));
    const first = facts.rank_low.number(row), last = facts.rank_high.number(row);
    box.appendChild(county.make("p", "", "Rank " + whole(facts.rank.number(row)) + ", likely " +
      (first === last ? "about " + whole(first) : "between about " + whole(first) + " and " + whole(last)) + "."));
    if (plan.top) {
      box.appendChild(county.make("p", "", "Chance that it belongs among the first " + whole(plan.top) + ": " +
        chanceWords(facts.top_chance.number(row)) + "."));
    }
    box.appendChild(county.make("p", "small", plan.meaning +
      (county.scores.reordered ? " These ranges are by the run's own weights." : "")));
    return box;
  };
})(window.county);
