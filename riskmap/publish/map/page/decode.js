/* Decodes the streams of the data scripts, step for step as entropy.py codes them. */
window.county = { packed: {} };
(function (county) {
  "use strict";
  const BASE = 120, TOP = BASE ** 3, WHOLE = BASE ** 4;
  const LIMIT = 255, FRESH = 524288 << 8;
  const SLOTS = 65536, SURE = 16, TREE_BITS = 10, TEXT_CONTEXTS = 4093;
  const CLASSES = 32, LENGTH_PLACES = 48, NUMBER_PLACES = LENGTH_PLACES + 4 * CLASSES;
  const RATES = Int32Array.from({ length: LIMIT + 1 }, (_, seen) => Math.round(1024 / (seen + 1.6)));
  const DIGIT = new Uint8Array(128);
  Array.from({ length: 127 }, (_, letter) => letter)
    .filter((letter) => ![0, 10, 13, 26, 34, 60, 92].includes(letter)).slice(0, BASE)
    .forEach((letter, digit) => { DIGIT[letter] = digit; });

  /* Where a decision about a whole number leads: to another, or (below 0) to its length and leading bits. */
  const NEXT = (function () {
    const next = new Int16Array(2 * NUMBER_PLACES);
    const end = (length) => (length === 0 ? ~1 : LENGTH_PLACES + 4 * length + 1);
    [[4, 0, 2], [8, 4, 2], [16, 8, 3], [32, 16, 4]].forEach(function ([at, first, bits], group) {
      if (group < 3) next.set([at + 1, group < 2 ? group + 1 : 33], 2 * group);
      for (let node = 1; node < 1 << bits; node++) {
        for (let bit = 0; bit < 2; bit++) {
          const child = 2 * node + bit;
          next[2 * (at + node) + bit] = child < 1 << bits ? at + child : end(first + child - (1 << bits));
        }
      }
    });
    for (let length = 1; length < CLASSES; length++) {
      const at = LENGTH_PLACES + 4 * length, last = length === 1 ? 2 : 4;
      for (let node = 1; node < last; node++) {
        for (let bit = 0; bit < 2; bit++) {
          const child = 2 * node + bit;
          next[2 * (at + node) + bit] = child < last ? at + child : ~(8 * length + child);
        }
      }
    }
    return next;
  })();

  class Decoder {
    constructor(text, start, length, places) {
      this.text = text;
      this.at = start;
      this.end = start + length;
      this.range = WHOLE;
      this.code = 0;
      for (let i = 0; i < 4; i++) this.code = this.code * BASE + this.digit();
      this.model = new Int32Array(places).fill(FRESH);
    }

    /* Past the end digits are 0. */
    digit() {
      return this.at < this.end ? DIGIT[this.text.charCodeAt(this.at++)] : 0;
    }

    /* One decision, by the probability at a place, which learns. */
    bit(place) {
      const model = this.model, now = model[place], seen = now & 255;
      const bound = Math.imul(this.range >>> 12, (now >>> 16) | 1);
      let chance = now >>> 8, bit = 0;
      if (this.code < bound) {
        this.range = bound;
        chance += ((1048575 - chance) * RATES[seen]) >> 10;
        bit = 1;
      } else {
        this.code -= bound;
        this.range -= bound;
        chance += (-chance * RATES[seen]) >> 10;
      }
      model[place] = (chance << 8) | (seen < LIMIT ? seen + 1 : LIMIT);
      while (this.range < TOP) {
        this.range = Math.imul(this.range, BASE);
        this.code = Math.imul(this.code, BASE) + this.digit();
      }
      return bit;
    }

    /* Bits that are as likely 0 as 1, at most eight at a time. */
    even(bits) {
      let value = 0;
      while (bits > 0) {
        const part = Math.min(bits, 8), step = this.range >>> part;
        const found = Math.floor(this.code / step);
        bits -= part;
        value = (value << part) | found;
        this.code -= found * step;
        this.range = step;
        while (this.range < TOP) {
          this.range = Math.imul(this.range, BASE);
          this.code = Math.imul(this.code, BASE) + this.digit();
        }
      }
      return value;
    }

    /* The bits of a value, high ones first, each by those before it; as bit(), but held closer. */
    tree(base, bits) {
      const model = this.model, end = 1 << bits;
      let range = this.range, code = this.code, node = 1;
      while (node < end) {
        const place = base + node, now = model[place], seen = now & 255, rate = RATES[seen];
        const bound = Math.imul(range >>> 12, (now >>> 16) | 1), learned = seen < LIMIT ? seen + 1 : LIMIT;
        let chance = now >>> 8;
        if (code < bound) {
          range = bound;
          chance += ((1048575 - chance) * rate) >> 10;
          node = 2 * node + 1;
        } else {
          code -= bound;
          range -= bound;
          chance += (-chance * rate) >> 10;
          node = 2 * node;
        }
        model[place] = (chance << 8) | learned;
        while (range < TOP) {
          range = Math.imul(range, BASE);
          code = Math.imul(code, BASE) + (this.at < this.end ? DIGIT[this.text.charCodeAt(this.at++)] : 0);
        }
      }
      this.range = range;
      this.code = code;
      return node - end;
    }

    /* A whole number: its length in bits, two more bits by the length, the rest evenly. */
    number(context) {
      const model = this.model, base = context * NUMBER_PLACES;
      let range = this.range, code = this.code, node = 0;
      while (node >= 0) {
        const place = base + node, now = model[place], seen = now & 255, rate = RATES[seen];
        const bound = Math.imul(range >>> 12, (now >>> 16) | 1), learned = seen < LIMIT ? seen + 1 : LIMIT;
        let chance = now >>> 8;
        if (code < bound) {
          range = bound;
          chance += ((1048575 - chance) * rate) >> 10;
          node = NEXT[2 * node + 1];
        } else {
          code -= bound;
          range -= bound;
          chance += (-chance * rate) >> 10;
          node = NEXT[2 * node];
        }
        model[place] = (chance << 8) | learned;
        while (range < TOP) {
          range = Math.imul(range, BASE);
          code = Math.imul(code, BASE) + (this.at < this.end ? DIGIT[this.text.charCodeAt(this.at++)] : 0);
        }
      }
      this.range = range;
      this.code = code;
      const length = ~node >> 3, leading = ~node & 7;
      return length > 2 ? ((leading << (length - 2)) | this.even(length - 2)) - 1 : leading - 1;
    }

    signed(context) {
      const coded = this.number(context);
      return (coded >>> 1) ^ -(coded & 1);
    }
  }

  const lengthOf = (value) => 31 - Math.clz32(value + 1);

  /* Whole numbers, each by the length of the one before it. */
  county.readNumbers = function (file, place) {
    const [start, length, count] = place, decoder = new Decoder(file.text, start, length, 32 * NUMBER_PLACES);
    const out = new Uint32Array(count);
    for (let i = 0, before = 0; i < count; i++) {
      before = out[i] = decoder.number(Math.min(31, lengthOf(before)));
    }
    return out;
  };

  /* Lines of text, each letter by the three before it. */
  county.readLines = function (file, place) {
    const [start, length, count] = place, decoder = new Decoder(file.text, start, length, TEXT_CONTEXTS * 256);
    const bytes = new Uint8Array(count);
    let first = 0, second = 0, third = 0;
    for (let i = 0; i < count; i++) {
      bytes[i] = decoder.tree((third * 65536 + second * 256 + first) % TEXT_CONTEXTS * 256, 8);
      third = second;
      second = first;
      first = bytes[i];
    }
    return new TextDecoder().decode(bytes).split("\n");
  };

  county.arrayFor = (size, count) => new (size <= 256 ? Uint8Array : size <= 65536 ? Uint16Array : Uint32Array)(count);

  /* The key by which a guess goes, from the values of its columns, and what is remembered for each. */
  function guessBy(parents, count) {
    const keys = new Uint16Array(count), [a, b] = parents;
    if (a && !b) for (let i = 0; i < count; i++) keys[i] = a.values[i];
    else if (a) for (let i = 0; i < count; i++) keys[i] = (a.values[i] * b.size + b.values[i]) % SLOTS;
    const slots = Math.min(SLOTS, parents.reduce((size, parent) => size * parent.size, 1));
    return { keys: keys, seen: new Int32Array(slots).fill(-1), sure: new Uint8Array(slots) };
  }

  /* What a value is spelled out beside: columns divided into so many steps; null is the row before. */
  function contextOf(about, parents, count) {
    const most = parents.length === 1 ? 24 : 12, of = new Uint16Array(count);
    const divided = (size) => Math.min(size, most);
    const step = (size) => Uint16Array.from({ length: size }, (_, value) => Math.floor(value * divided(size) / size));
    const sizes = parents.map((parent) => (parent ? parent.size : about.size));
    let contexts = 1, table = null;
    parents.forEach(function (parent, index) {
      const weight = index + 1 < sizes.length ? divided(sizes[index + 1]) : 1;
      const steps = step(sizes[index]).map((value) => value * weight);
      contexts *= divided(sizes[index]);
      if (!parent) table = steps;
      else for (let i = 0; i < count; i++) of[i] += steps[parent.values[i]];
    });
    return { of: of, table: table, count: contexts };
  }

  /* The values of a column: guessed from the keys in turn, else spelled out. */
  county.readColumn = function (text, place, about, count, parentsOf) {
    const out = county.arrayFor(about.size, count);
    const bits = Math.max(1, 32 - Math.clz32(Math.max(about.size, 1) - 1));
    const leading = Math.min(bits, TREE_BITS), low = bits - leading;
    const guesses = about.guesses.map((numbers) => guessBy(parentsOf(numbers), count));
    const context = contextOf(about, parentsOf(about.context), count);
    const flagsAt = context.count * (about.steps ? NUMBER_PLACES : 1 << leading);
    const lowAt = flagsAt + guesses.length * SURE * 4;
    const decoder = new Decoder(text, place[0], place[1], lowAt + 32);
    let lately = 0, last = 0;

    function guessed(row) {
      for (let k = 0; k < guesses.length; k++) {
        const { keys, seen, sure } = guesses[k], key = keys[row], guess = seen[key];
        let known = guess < 0;
        for (let j = 0; j < k; j++) known = known || guesses[j].seen[guesses[j].keys[row]] === guess;
        if (!known && decoder.bit(flagsAt + (k * SURE + sure[key]) * 4 + lately)) return guess;
      }
      return -1;
    }

    function spelled(row) {
      const at = context.of[row] + (context.table ? context.table[last] : 0);
      if (about.steps) {
        const start = guesses.length ? guesses[0].seen[guesses[0].keys[row]] : 0;
        return Math.max(0, start) + decoder.signed(at);
      }
      let value = decoder.tree(at << leading, leading);
      for (let shift = low - 1; shift >= 0; shift--) value = 2 * value + decoder.bit(lowAt + shift);
      return value;
    }

    for (let row = 0; row < count; row++) {
      let value = guessed(row);
      lately = ((lately << 1) | (value < 0 ? 0 : 1)) & 3;
      if (value < 0) value = spelled(row);
      for (let k = 0; k < guesses.length; k++) {
        const { keys, seen, sure } = guesses[k], key = keys[row];
        sure[key] = seen[key] === value ? Math.min(sure[key] + 1, SURE - 1) : sure[key] >> 2;
        seen[key] = value;
      }
      out[row] = last = value;
    }
    return out;
  };

  county.Decoder = Decoder;
  county.NUMBER_PLACES = NUMBER_PLACES;
  county.lengthOf = lengthOf;
})(window.county);
