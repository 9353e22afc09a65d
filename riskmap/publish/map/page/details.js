/* What cards and weights need lies in blocks of parcels: a card reads its own, weights read all. */
(function (county) {
  "use strict";
  const reading = [], blocks = [];
  let head = null;

  /* One column over all blocks that were read. */
  class Blocked {
    constructor(name) {
      this.name = name;
    }

    get about() {
      return blocks.find(Boolean)[this.name].about;
    }

    of(row) {
      return blocks[Math.floor(row / county.plan.block_rows)][this.name];
    }

    number(row) {
      return this.of(row).number(row % county.plan.block_rows);
    }

    word(row) {
      return this.of(row).word(row % county.plan.block_rows);
    }

    /* Every row; all blocks must have been read. */
    numbers() {
      if (!this.all) {
        this.all = new Float64Array(county.parcels.count);
        blocks.forEach((block, number) => {
          this.all.set(block[this.name].numbers(), number * county.plan.block_rows);
          block[this.name].numberArray = null;
        });
      }
      return this.all;
    }
  }

  function readHead() {
    if (!head) head = county.load("details");
    return head;
  }

  function readBlock(number) {
    if (!reading[number]) {
      reading[number] = Promise.all([readHead(), county.load("details_" + number)]).then(function ([head, file]) {
        const first = number * county.plan.block_rows;
        const count = Math.min(county.plan.block_rows, county.parcels.count - first);
        const given = (head.header.given || []).map((name) => county.given[name]);
        blocks[number] = county.blockOf(file, head, first, count, given);
        Object.keys(blocks[number]).forEach(function (name) {
          if (!county.facts[name]) county.facts[name] = new Blocked(name);
        });
        county.scores.takeLimitations(county.facts);
      });
    }
    return reading[number];
  }

  /* Reads the blocks of the given rows, or of all. */
  county.needDetails = function (rows) {
    const all = Array.from({ length: Math.max(1, Math.ceil(county.parcels.count / county.plan.block_rows)) }, (_, n) => n);
    const wanted = rows ? new Set(rows.map((row) => Math.floor(row / county.plan.block_rows))) : all;
    return Promise.all(Array.from(wanted, readBlock));
  };
})(window.county);
