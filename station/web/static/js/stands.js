// What stands on the reference's axis, each at its own height: an instrument with
// how sure its pitch is, a proposal, the compromise. A name is written beside its line.

import { shareOf, spanOf } from "./axis.js";
import { el, mark, say, svg } from "./dom.js";

/** A line across the axis, the band of its uncertainty, and a button that names it. */
export class Stand {
  #open = () => {};

  constructor() {
    this.band = el("div", { className: "stand-band" });
    this.line = el("div", { className: "stand" });
    this.name = el("span");
    this.small = el("span", { className: "soft" });
    this.label = el("button", { type: "button", className: "stand-name", onclick: () => this.#open() }, this.name, this.small);
    this.parts = [this.band, this.line, this.label];
  }

  /** `told`: hz, uncertainty_cents or null, name, small, side, kind, and what a tap opens. */
  update(told, window) {
    this.#open = told.open;
    say(this.name, told.name);
    say(this.small, told.small);
    for (const part of this.parts) {
      mark(part, "side", told.side);
      mark(part, "kind", told.kind);
      part.style.setProperty("--share", shareOf(told.hz, window).toFixed(4));
    }
    const tall = told.uncertainty_cents === null ? 0 : spanOf(told.hz, told.uncertainty_cents);
    this.band.hidden = tall === 0;
    this.band.style.setProperty("--tall", (tall / (window.high - window.low)).toFixed(5));
  }
}

/** A dashed line across the axis with its words at the left, among the numbers. */
export class ProposedLine {
  constructor() {
    this.line = el("div", { className: "draft-line" });
    this.label = el("span", { className: "proposed-name" });
    this.parts = [this.line, this.label];
  }

  /** `told`: hz, name and side. */
  update(told, window) {
    say(this.label, told.name);
    for (const part of this.parts) {
      mark(part, "side", told.side);
      part.style.setProperty("--share", shareOf(told.hz, window).toFixed(4));
    }
  }
}

/** From where a line ends to the middle of the name beside it: `from` and `to` as shares of the height. */
export function link(side, from, to) {
  const percent = (share) => `${((1 - share) * 100).toFixed(2)}%`;
  return svg("line", { x1: 0, x2: "100%", y1: percent(from), y2: percent(to), "data-side": side });
}

/** Those of one sort that are on the axis, by their ids: they keep their elements. */
export class Group {
  #members = new Map();
  #make;

  constructor(className, make) {
    this.#make = make;
    this.node = el("div", { className });
  }

  /** Show these, and no others; gives {hz, side, label} of each. */
  update(all, window) {
    for (const [id, member] of this.#members) {
      if (all.some((told) => told.id === id)) continue;
      for (const part of member.parts) part.remove();
      this.#members.delete(id);
    }
    return all.map((told) => {
      if (!this.#members.has(told.id)) {
        this.#members.set(told.id, this.#make());
        this.node.append(...this.#members.get(told.id).parts);
      }
      const member = this.#members.get(told.id);
      member.update(told, window);
      return { hz: told.hz, side: told.side, label: member.label };
    });
  }
}
