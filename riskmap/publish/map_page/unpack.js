/* Unpacks the data scripts: base64 -> gzip -> JSON header and byte blocks (see packing.py). */
window.county = { packed: {} };
(function (county) {
  "use strict";

  function bytesOf(text) {
    if (Uint8Array.fromBase64) return Uint8Array.fromBase64(text);
    const raw = atob(text);
    const bytes = new Uint8Array(raw.length);
    for (let i = 0; i < raw.length; i++) bytes[i] = raw.charCodeAt(i);
    return bytes;
  }

  async function inflate(bytes) {
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
    return new Uint8Array(await new Response(stream).arrayBuffer());
  }

  /* One packed file: its header and its blocks. The packed text is let go. */
  county.unpack = async function (name) {
    const text = county.packed[name];
    if (text === undefined) throw new Error("The file data/" + name + ".js is missing.");
    delete county.packed[name];
    const raw = await inflate(bytesOf(text));
    const length = new DataView(raw.buffer).getUint32(0, true);
    const header = JSON.parse(new TextDecoder().decode(raw.subarray(4, 4 + length)));
    return { header: header, bytes: raw.subarray(4 + length) };
  };

  /* Where each row stands among the rows that are written; -1 for the others. */
  function amongOf(file, count) {
    if (!file.header.among) return null;
    if (!file.among) {
      const start = file.header.among[0];
      const at = new Int32Array(count);
      let length = 0;
      for (let row = 0; row < count; row++) {
        at[row] = file.bytes[start + (row >> 3)] & (1 << (row & 7)) ? length++ : -1;
      }
      file.among = { at: at, length: length };
    }
    return file.among;
  }

  county.columnsOf = function (file, described, count) {
    const columns = {}, among = amongOf(file, count);
    Object.keys(described).forEach(function (name) {
      columns[name] = new Column(described[name], file.bytes, count, among);
    });
    return columns;
  };

  /* A column read where it lies; `numbers()` and `codes()` make arrays when all rows are needed. */
  class Column {
    constructor(about, bytes, count, among) {
      this.about = about;
      this.count = count;
      this.at = about.among ? among.at : null;
      this.written = about.among ? among.length : count;
      this.block = bytes.subarray(about.place[0], about.place[0] + about.place[1]);
    }

    code(row) {
      const at = this.at ? this.at[row] : row;
      if (at < 0) return 0;
      return this.about.steps_from !== undefined ? this.summed()[at] : this.stored(at);
    }

    stored(at) {
      let value = this.block[at];
      for (let plane = 1; plane < this.about.width; plane++) {
        value += this.block[plane * this.written + at] * 2 ** (8 * plane);
      }
      return value;
    }

    /* A column of differences is summed once. */
    summed() {
      if (!this.sums) {
        this.sums = new Uint32Array(this.written);
        let value = this.about.steps_from;
        for (let at = 0; at < this.written; at++) {
          const step = this.stored(at);
          value += step % 2 ? -(step + 1) / 2 : step / 2;
          this.sums[at] = value;
        }
      }
      return this.sums;
    }

    numberOf(code) {
      if (code === 0) return NaN;
      const about = this.about;
      const whole = about.values ? about.values[code - 1] : code - 1 + about.low;
      return whole / 10 ** about.decimals;
    }

    number(row) {
      return this.numberOf(this.code(row));
    }

    lines() {
      if (!this.split) this.split = new TextDecoder().decode(this.block).split("\n");
      return this.split;
    }

    word(row) {
      if (this.about.kind === "text") return this.lines()[row] || "";
      const code = this.code(row);
      return code === 0 ? "" : this.about.words[code - 1];
    }

    codes() {
      if (!this.codeArray) {
        if (this.about.width === 1 && !this.at && this.about.steps_from === undefined) this.codeArray = this.block;
        else this.codeArray = Uint32Array.from({ length: this.count }, (_, row) => this.code(row));
      }
      return this.codeArray;
    }

    numbers() {
      if (!this.numberArray) {
        const array = new Float64Array(this.count);
        for (let row = 0; row < this.count; row++) array[row] = this.number(row);
        this.numberArray = array;
      }
      return this.numberArray;
    }
  }

  /* Loads one more data script beside the page; script elements work from disk. */
  county.load = function (name) {
    return new Promise(function (resolve, reject) {
      const script = document.createElement("script");
      script.src = "data/" + name + ".js";
      script.onload = function () { resolve(county.unpack(name)); };
      script.onerror = function () { reject(new Error("The file data/" + name + ".js is missing.")); };
      document.head.appendChild(script);
    });
  };
})(window.county);
