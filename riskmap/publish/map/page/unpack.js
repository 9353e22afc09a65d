/* The columns of the data scripts: a readable header and one text of streams (see packing.py). */
(function (county) {
  "use strict";

  /* One packed file. The page's own hold on its text is let go. */
  county.unpack = function (name) {
    const packed = county.packed[name];
    if (packed === undefined) throw new Error("The file data/" + name + ".js is missing.");
    delete county.packed[name];
    return { header: packed[0], text: packed[1] };
  };

  /* Loads one more data script next to the page; script elements work from disk. */
  county.load = function (name) {
    return new Promise(function (resolve, reject) {
      const script = document.createElement("script");
      script.src = "data/" + name + ".js";
      script.onload = function () { resolve(county.unpack(name)); };
      script.onerror = function () { reject(new Error("The file data/" + name + ".js is missing.")); };
      document.head.appendChild(script);
    });
  };

  /* Position of each row among the rows that are written; -1 for the others. */
  function amongOf(values) {
    const at = new Int32Array(values.length);
    let length = 0;
    for (let row = 0; row < values.length; row++) at[row] = values[row] ? length++ : -1;
    const rows = new Uint32Array(length);
    for (let row = 0; row < at.length; row++) if (at[row] >= 0) rows[at[row]] = row;
    return { at: at, rows: rows };
  }

  /* The columns of one file or block; `given` are columns of files read before it, by number. */
  class Table {
    constructor(file, count, given, head, block) {
      this.file = file;
      this.count = count;
      this.slots = given.slice();
      this.head = head || file;
      this.block = block;
      this.gathered = {};
      if (this.head.header.among) {
        const flags = this.add(this.head.header.among);
        this.among = amongOf(flags.dense());
      }
    }

    add(about) {
      const column = new Column(this, about);
      this.slots[about.slot] = column;
      return column;
    }

    columns(described) {
      const columns = {};
      Object.keys(described).forEach((name) => {
        const column = columns[name] = this.add(described[name]);
        column.runs = (described[name].runs || []).map((run) => this.add(run));
      });
      return columns;
    }

    /* Other columns as the stream of a column needs them. */
    parents(numbers, restricted) {
      return numbers.map((number) => {
        if (number < 0) return null;
        const column = this.slots[number];
        return { values: restricted ? this.amongValues(column, number) : column.dense(this), size: column.about.size };
      });
    }

    /* A column's values in the common rows only. */
    amongValues(column, number) {
      if (column.table === this && column.at) return column.stored();
      if (!this.gathered[number]) {
        const all = column.dense(this), rows = this.among.rows;
        const values = this.gathered[number] = county.arrayFor(column.about.size, rows.length);
        for (let place = 0; place < rows.length; place++) values[place] = all[rows[place]];
      }
      return this.gathered[number];
    }

    placeOf(about) {
      if (about.place) return about.place;
      const ends = this.file.header.ends, number = about.slot - (this.head.header.given || []).length;
      return [ends[number], ends[number + 1] - ends[number]];
    }
  }

  /* A column is decoded when it is first used, after those it is predicted from. */
  class Column {
    constructor(table, about) {
      this.table = table;
      this.about = about;
      this.count = table.count;
      this.at = about.among ? table.among.at : null;
    }

    /* Stored values, one for each row that is written. */
    stored() {
      if (!this.values) {
        const table = this.table, about = this.about;
        const count = this.at ? table.among.rows.length : table.count;
        this.values = county.readColumn(table.file.text, table.placeOf(about), about, count,
          (numbers) => table.parents(numbers, Boolean(this.at)));
      }
      return this.values;
    }

    /* Values of all rows; of a block's rows if another table's block asks. */
    dense(asking) {
      const stored = this.stored();
      if (!this.spread) {
        this.spread = this.at ? county.arrayFor(this.about.size, this.count) : stored;
        if (this.at) {
          const rows = this.table.among.rows;
          for (let place = 0; place < rows.length; place++) this.spread[rows[place]] = stored[place];
        }
      }
      const values = this.spread;
      const block = asking && asking !== this.table ? asking.block : null;
      return block ? values.subarray(block.first, block.first + asking.count) : values;
    }

    /* The code of each stored value; 0 is missing. */
    meanings() {
      if (!this.about.codes) return null;
      if (!this.about.listed) {
        let code = 0;
        const gaps = county.readNumbers(this.table.head, this.about.codes);
        this.about.listed = Uint32Array.of(0, ...gaps.map((gap) => (code += gap + 1)));
      }
      return this.about.listed;
    }

    code(row) {
      const at = this.at ? this.at[row] : row;
      if (at < 0) return 0;
      const value = this.stored()[at], codes = this.meanings();
      return codes ? codes[value] : value;
    }

    number(row) {
      const code = this.code(row);
      return code === 0 ? NaN : (code - 1 + this.about.low) / 10 ** this.about.decimals;
    }

    words() {
      const about = this.about;
      if (!about.spelled) {
        about.spelled = typeof about.words[0] === "number" ? county.readLines(this.table.head, about.words) : about.words;
      }
      return about.spelled;
    }

    /* Patterns taken apart: between texts, how many digits a number has. */
    patterns() {
      if (!this.about.parts) {
        this.about.parts = this.words().map((word) => word.split(/([\u0001-\u0009])/).map((part, index) =>
          (index % 2 ? part.charCodeAt(0) : part)));
      }
      return this.about.parts;
    }

    word(row) {
      const code = this.code(row);
      if (code === 0) return "";
      if (this.about.kind !== "text") return this.words()[code - 1];
      const parts = this.patterns()[code - 1];
      let text = parts[0];
      for (let at = 1, run = 0; at < parts.length; at += 2) {
        const number = this.runs[run++].code(row) - 1;
        text += (number < 10 ** (parts[at] - 1) ? String(number).padStart(parts[at], "0") : number) + parts[at + 1];
      }
      return text;
    }

    lines() {
      if (!this.all) {
        this.all = new Array(this.count);
        for (let row = 0; row < this.count; row++) this.all[row] = this.word(row);
      }
      return this.all;
    }

    codes() {
      if (!this.at && !this.about.codes) return this.stored();
      if (!this.codeArray) {
        this.codeArray = new Uint32Array(this.count);
        for (let row = 0; row < this.count; row++) this.codeArray[row] = this.code(row);
      }
      return this.codeArray;
    }

    numbers() {
      if (!this.numberArray) {
        const array = new Float64Array(this.count).fill(NaN), values = this.stored();
        const codes = this.meanings(), low = this.about.low - 1, scale = 10 ** this.about.decimals;
        const table = Float64Array.from({ length: this.about.size }, (_, value) =>
          (value === 0 ? NaN : ((codes ? codes[value] : value) + low) / scale));
        const rows = this.at && this.table.among.rows;
        if (rows) for (let place = 0; place < rows.length; place++) array[rows[place]] = table[values[place]];
        else for (let row = 0; row < this.count; row++) array[row] = table[values[row]];
        this.numberArray = array;
      }
      return this.numberArray;
    }
  }

  county.columnsOf = (file, described, count, given) =>
    new Table(file, count, given || []).columns(described);

  /* The columns of a block of rows whose description lies in the head. */
  county.blockOf = (file, head, first, count, given) =>
    new Table(file, count, given, head, { first: first }).columns(head.header.columns);
})(window.county);
