// What a player can look into more closely on their own strings.

import { el } from "./dom.js";
import { GaugeSheet } from "./gauge_sheet.js";
import { HealthSheet } from "./health_sheet.js";
import { PairSheet } from "./pair_sheet.js";
import { SaddleSheet } from "./saddle_sheet.js";
import { Sheet } from "./sheet.js";
import { StrumSheet } from "./strum_sheet.js";

export class BenchMenu {
  constructor(state) {
    this.strum = new StrumSheet(state);
    this.pair = new PairSheet(state);
    this.saddle = new SaddleSheet(state);
    this.health = new HealthSheet(state);
    this.gauge = new GaugeSheet(state);
    const choices = [
      ["one strum", "all strings at once: which to do first", () => this.strum.open()],
      ["two strings", "by their beat, pair by pair", () => this.pair.open()],
      ["saddle", "open string against the 12th fret", () => this.saddle.open()],
      ["worn strings", "dull or false, against their first day", () => this.health.open()],
      ["strings as wire", "pull, margin, gauges for another tuning", () => this.gauge.open()],
    ];
    this.sheet = new Sheet(
      "The bench",
      choices.map(([words, more, act]) =>
        el("button", { type: "button", className: "menu-choice", onclick: () => this.#go(act) }, el("strong", {}, words), el("span", { className: "soft" }, more)),
      ),
    );
  }

  open() {
    this.sheet.open();
  }

  #go(act) {
    this.sheet.close();
    act();
  }
}
