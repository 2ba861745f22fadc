// A ladder: every string's pitch on one vertical scale of cents, string numbers side by
// side. Sharp is up. The band behind each mark is where the string may be, two standard
// deviations either way.

import { heightOfCents, TICKS } from "./axis.js";
import { el, mark, say } from "./dom.js";
import { shape } from "./shapes.js";
import { signed, uncertainty } from "./words.js";

const CROWD = 8;
/** The scale of strings that are being tuned. */
export const TUNING_SCALE = { height: heightOfCents, ticks: TICKS, digits: 1 };

/** A plain scale that holds so many cents either way. */
export function evenScale(cents) {
  const full = Math.max(4, Math.ceil(cents / 2) * 2);
  const share = (each) => Math.max(-1, Math.min(1, each / full));
  return { height: share, ticks: [-full, -full / 2, full / 2, full], digits: 1 };
}

class Rung {
  constructor() {
    this.seed = shape("rung-seed");
    this.bar = el("span", { className: "rung-bar" });
    this.plot = el("span", { className: "rung-plot", "aria-hidden": "true" }, this.bar, this.seed.node);
    this.number = el("strong", { className: "rung-number" });
    this.note = el("span", { className: "rung-note" });
    this.cents = el("span", { className: "rung-cents" });
    this.error = el("span", { className: "rung-error" });
    this.node = el("li", { className: "rung" }, this.plot, this.number, this.note, this.cents, this.error);
  }

  update(row, scale, noteName, crowd) {
    const heard = row.cents !== null;
    const height = !heard ? 0 : scale.height(row.cents);
    this.seed.set(row.verdict ?? "in");
    mark(this.node, "verdict", heard ? (row.verdict ?? "in") : "missing");
    mark(this.node, "first", row.first ? "yes" : null);
    mark(this.node, "earlier", row.earlier ? "yes" : null);
    this.node.style.setProperty("--height", height.toFixed(4));
    const doubt = 2 * (row.uncertainty_cents ?? 0);
    const [low, high] = heard ? [scale.height(row.cents - doubt), scale.height(row.cents + doubt)] : [0, 0];
    this.node.style.setProperty("--low", low.toFixed(4));
    this.node.style.setProperty("--high", high.toFixed(4));
    mark(this.node, "sure", row.uncertainty_cents === null || row.uncertainty_cents === undefined ? "unsaid" : null);
    say(this.number, String(row.string));
    say(this.note, row.note ? noteName(row.note) : "");
    say(this.cents, heard ? signed(row.cents, Math.abs(row.cents) < 9.95 && !crowd ? scale.digits : 0) : "\u2013");
    say(this.error, heard && row.uncertainty_cents !== null && row.uncertainty_cents !== undefined ? uncertainty(row.uncertainty_cents) : "");
  }
}

export class Ladder {
  #rungs = [];
  #noteName;

  /** `noteName` says how a note is named here. */
  constructor(noteName) {
    this.#noteName = noteName;
    this.ticks = el("div", { className: "ladder-ticks", "aria-hidden": "true" });
    this.list = el("ol", { className: "ladder-rungs" });
    this.hint = el("p", { className: "ladder-hint" });
    this.node = el("div", { className: "ladder" }, el("div", { className: "ladder-line" }), this.ticks, this.list, this.hint);
  }

  /** Rows have string, note, cents (null: not heard), uncertainty_cents, verdict, first, earlier. */
  show(rows, scale = TUNING_SCALE, hint = "") {
    while (this.#rungs.length < rows.length) {
      const rung = new Rung();
      this.#rungs.push(rung);
      this.list.append(rung.node);
    }
    while (this.#rungs.length > rows.length) this.#rungs.pop().node.remove();
    rows.forEach((row, place) => this.#rungs[place].update(row, scale, this.#noteName, rows.length > CROWD));
    mark(this.node, "crowd", rows.length > CROWD ? "yes" : null);
    say(this.hint, hint);
    this.#drawTicks(scale);
  }

  #drawTicks(scale) {
    const written = scale.ticks.join();
    if (this.ticks.dataset.written === written) return;
    this.ticks.dataset.written = written;
    this.ticks.replaceChildren(
      ...scale.ticks.map((cents) => {
        const tick = el("span", {}, signed(cents, 0));
        tick.style.setProperty("--height", scale.height(cents).toFixed(4));
        return tick;
      }),
    );
  }
}
