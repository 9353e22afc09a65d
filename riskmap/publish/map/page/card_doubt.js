/* How likely a system has failed, and how sure that is, in words. */
(function (county) {
  "use strict";

  const chanceWords = (chance) => county.plan.doubt.words.find((entry) => chance >= entry[0])[1];

  county.doubtSection = function (row) {
    const plan = county.plan.doubt;
    const share = (name) => county.facts["said:" + name].number(row);
    if (!plan || !Number.isFinite(share("chance_failed_frac"))) return null;
    const box = county.make("div", "doubt");
    box.appendChild(county.make("h3", "", "How likely it has failed"));
    const onFile = county.facts.on_file.word(row);
    const low = share("chance_failed_low_frac"), high = share("chance_failed_high_frac");
    const line = box.appendChild(county.make("p", "", onFile ? "Chance that it is still failed: " : "Chance that it has failed: "));
    line.appendChild(county.make("strong", "", chanceWords(share("chance_failed_frac"))));
    if (Number.isFinite(low)) {
      const ends = [chanceWords(low), chanceWords(high)];
      line.appendChild(document.createTextNode(ends[0] === ends[1] ? "." : "; likely between " + ends[0] + " and " + ends[1] + "."));
    }
    if (plan.top && Number.isFinite(share("top_chance"))) {
      box.appendChild(county.make("p", "", "Chance that it belongs among the first " + county.figure(plan.top) + " of the county: " +
        chanceWords(share("top_chance")) + "."));
    }
    box.appendChild(county.make("p", "small", plan.meaning));
    return box;
  };
})(window.county);
