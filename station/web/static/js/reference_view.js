// "The reference": a vertical axis of hertz with the agreed line across it, what
// instruments of fixed pitch ask for, and the way to change it.

import { centsBetween, scaleStep, shareOf, spread, windowOf } from "./axis.js";
import { el, mark, say } from "./dom.js";
import { ReferenceForm, STANDARD_HZ } from "./reference_form.js";
import { hertz, signed, uncertainty } from "./words.js";

const NAME_PX = 54; // height of a name with its margin
const NUMBER_PX = 30; // half the agreed number and half a number of the scale
const LINE_PX = 12; // a line nearer to a number of the scale would strike it through

/** One instrument of fixed pitch on the axis: its line, and a button that asks for its pitch. */
class Stand {
  #hz = STANDARD_HZ;

  constructor(parent, ask) {
    this.line = el("div", { className: "stand" });
    this.name = el("span");
    this.error = el("span", { className: "soft" });
    const onclick = () => ask(Math.round(this.#hz * 10) / 10);
    this.label = el("button", { type: "button", className: "stand-name", onclick }, this.name, this.error);
    parent.append(this.line, this.label);
  }

  /** `inCents`: how near to the reference the instrument counts as in. */
  update(name, hz, reading, inCents) {
    this.#hz = hz;
    const isIn = Math.abs(reading.cents) <= inCents;
    const side = isIn ? "in" : reading.cents < 0 ? "below" : "above";
    say(this.name, `${name} ${hz.toFixed(1)}`);
    say(this.error, `${isIn ? "in, " : ""}${uncertainty(reading.uncertainty_cents)} cents`);
    mark(this.line, "side", side);
    mark(this.label, "side", side);
  }

  remove() {
    this.line.remove();
    this.label.remove();
  }
}

export class ReferenceView {
  #state;
  #stands = new Map();

  constructor(root, state) {
    this.#state = state;
    this.form = new ReferenceForm(state);
    this.form.onConsider = () => this.#update();
    this.scale = el("div", { className: "scale", "aria-hidden": "true" });
    this.stands = el("div", { className: "stands" });
    this.line = el("div", { className: "agreed" }, el("strong"));
    this.draftLine = el("div", { className: "draft-line" });
    this.draftName = el("span", { className: "draft-name" });
    this.draft = el("div", { className: "draft" }, this.draftLine, this.draftName);
    this.axis = el("div", { className: "axis" }, this.scale, this.stands, this.draft, this.line);
    root.append(this.axis, this.form.node);
    new ResizeObserver(() => this.#update()).observe(this.axis);
    state.onChange(() => this.#update());
  }

  #update() {
    const room = this.#state.room;
    if (!room) return;
    this.form.update();
    const { agreed, wanted } = this.form;
    const heard = [...this.#state.settled].map(([id, reading]) => ({
      id,
      hz: agreed * 2 ** (reading.cents / 1200),
      reading,
    }));
    const lines = [...heard.map((each) => each.hz), ...(wanted === null ? [] : [wanted])];
    const window = windowOf([agreed, ...lines]);
    this.#drawScale(window, agreed, lines);
    this.#place(this.line, agreed, window);
    say(this.line.firstChild, hertz(agreed));
    const named = this.#drawStands(heard, window);
    this.#drawDraft(wanted, agreed, window);
    if (wanted !== null) named.push({ hz: wanted, label: this.draftName });
    this.#placeNames(named, window);
  }

  #drawDraft(wanted, agreed, window) {
    this.draft.hidden = wanted === null;
    if (wanted === null) return;
    this.#place(this.draftLine, wanted, window);
    say(this.draftName, `${hertz(wanted)}\n${signed(centsBetween(wanted, agreed))} cents`);
    mark(this.draft, "side", wanted < agreed ? "below" : "above");
  }

  /** Each instrument's line at its own height; returns the labels that name the lines. */
  #drawStands(heard, window) {
    for (const [id, stand] of this.#stands) {
      if (!heard.some((each) => each.id === id)) {
        stand.remove();
        this.#stands.delete(id);
      }
    }
    return heard.map(({ id, hz, reading }) => {
      if (!this.#stands.has(id)) this.#stands.set(id, new Stand(this.stands, (asked) => this.form.consider(asked)));
      const stand = this.#stands.get(id);
      stand.update(this.#state.player(id)?.name ?? id, hz, reading, this.#state.room.station.in_cents);
      this.#place(stand.line, hz, window);
      return { hz, label: stand.label };
    });
  }

  // Labels stand beside their lines and keep clear of each other and of the edges.
  #placeNames(named, window) {
    named.sort((a, b) => a.hz - b.hz);
    const gap = NAME_PX / Math.max(this.axis.clientHeight, NAME_PX);
    const shares = spread(named.map((each) => shareOf(each.hz, window)), gap, gap / 2, 1 - gap / 2);
    named.forEach(({ label }, rank) => label.style.setProperty("--share", shares[rank].toFixed(4)));
  }

  /** Ticks and numbers, but no number that one of the `lines` or the agreed number would cover. */
  #drawScale(window, agreed, lines) {
    const pxPerHz = this.axis.clientHeight / (window.high - window.low);
    const key = [pxPerHz, window.low, agreed, ...lines].map((each) => each.toFixed(2)).join(" ");
    if (!pxPerHz || this.scale.dataset.drawn === key) return;
    this.scale.dataset.drawn = key;
    const step = scaleStep(pxPerHz);
    const tickStep = step > 5 ? step / 5 : 1;
    const isFree = (hz) =>
      Math.abs(hz - agreed) * pxPerHz > NUMBER_PX && lines.every((line) => Math.abs(hz - line) * pxPerHz > LINE_PX);
    const ticks = [];
    for (let hz = Math.ceil(window.low / tickStep) * tickStep; hz <= window.high; hz += tickStep) {
      const edgePx = Math.min(hz - window.low, window.high - hz) * pxPerHz;
      if (edgePx < LINE_PX) continue; // would be cut
      const number = hz === STANDARD_HZ ? "440 · ISO 16" : String(hz);
      const tick = el("span", { className: "hz" }, hz % step === 0 && isFree(hz) ? number : "");
      this.#place(tick, hz, window);
      ticks.push(tick);
    }
    this.scale.replaceChildren(...ticks);
  }

  #place(node, hz, window) {
    node.style.setProperty("--share", shareOf(hz, window).toFixed(4));
  }
}
