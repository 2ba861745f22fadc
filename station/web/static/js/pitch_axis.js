// The reference's vertical axis of hertz: numbers at the left, the agreed line across,
// and whatever else asks for a pitch at its own height.

import { centsBetween, scaleStep, shareOf, spanOf, spread, windowOf } from "./axis.js";
import { el, mark, say, svg } from "./dom.js";
import { Group, link, ProposedLine, Stand } from "./stands.js";
import { hertz, signed } from "./words.js";

export const STANDARD_HZ = 440; // ISO 16:1975

const NAME_PX = 54; // height of a name with its margin
const NUMBER_PX = 30; // half the agreed number and half a number of the scale
const LINE_PX = 12; // a line nearer to a number of the scale would strike it through
const TAG_PX = 24; // height of a proposal's words
const LEAST_PX = 150;

export class PitchAxis {
  /** The axis has another height. */
  onResize = () => {};

  constructor() {
    this.scale = el("div", { className: "scale", "aria-hidden": "true" });
    this.stands = new Group("stands", () => new Stand());
    this.proposed = new Group("proposed", () => new ProposedLine());
    this.line = el("div", { className: "agreed" }, el("strong"));
    this.links = svg("svg", { class: "links", "aria-hidden": "true" });
    this.draftLine = el("div", { className: "draft-line" });
    this.draftName = el("span", { className: "draft-name" });
    this.draft = el("div", { className: "draft" }, this.draftLine, this.draftName);
    this.node = el("div", { className: "axis" }, this.scale, this.stands.node, this.proposed.node, this.line, this.links, this.draft);
    new ResizeObserver(() => this.onResize()).observe(this.node);
  }

  /** All in hertz: the reference, one being considered or null, `stands` and `proposed` as in stands.js. */
  draw(agreed, wanted, stands, proposed) {
    const lines = [...stands, ...proposed].map(({ hz, uncertainty_cents: sure }) => ({ hz, half: spanOf(hz, sure ?? 0) / 2 }));
    if (wanted !== null) lines.push({ hz: wanted, half: 0 });
    const window = windowOf([agreed, ...lines.map((each) => each.hz)]);
    this.#growFor(stands.length + (wanted === null ? 0 : 1));
    this.#place(this.line, agreed, window);
    say(this.line.firstChild, hertz(agreed));
    const named = this.stands.update(stands, window);
    const tags = this.proposed.update(proposed, window);
    this.#drawDraft(wanted, agreed, window);
    if (wanted !== null) named.push({ hz: wanted, side: "draft", label: this.draftName });
    this.#placeNames(named, window);
    const taken = this.#placeTags(tags, agreed, window);
    this.#drawScale(window, agreed, lines, taken);
  }

  // Names keep their height: where many stand on the axis it is higher, and the page scrolls.
  #growFor(names) {
    this.node.style.setProperty("--least", `${Math.max(names * NAME_PX, LEAST_PX)}px`);
  }

  #drawDraft(wanted, agreed, window) {
    this.draft.hidden = wanted === null;
    if (wanted === null) return;
    this.#place(this.draftLine, wanted, window);
    say(this.draftName, `${hertz(wanted)}\n${signed(centsBetween(wanted, agreed))} cents`);
    mark(this.draft, "side", wanted < agreed ? "below" : "above");
  }

  // Labels stand beside their lines and keep clear of each other and of the edges.
  #placeNames(named, window) {
    named.sort((a, b) => a.hz - b.hz);
    const gap = NAME_PX / this.#heightPx;
    const shares = spread(named.map((each) => shareOf(each.hz, window)), gap, gap / 2, 1 - gap / 2);
    named.forEach(({ label }, rank) => label.style.setProperty("--at", shares[rank].toFixed(4)));
    this.links.replaceChildren(...named.map(({ hz, side }, rank) => link(side, shareOf(hz, window), shares[rank])));
  }

  // A proposal's words stand among the numbers, those below the agreed line below its number.
  #placeTags(tags, agreed, window) {
    const line = shareOf(agreed, window);
    const gap = TAG_PX / this.#heightPx;
    const clear = (NUMBER_PX + TAG_PX / 4) / this.#heightPx;
    tags.sort((a, b) => a.hz - b.hz);
    const sides = [
      [tags.filter((each) => each.hz < agreed), gap / 2, line - clear],
      [tags.filter((each) => each.hz >= agreed), line + clear, 1 - gap / 2],
    ];
    return sides.flatMap(([some, low, high]) => {
      const shares = spread(some.map((each) => shareOf(each.hz, window)), gap, low, high);
      some.forEach(({ label }, rank) => label.style.setProperty("--at", shares[rank].toFixed(4)));
      return shares.map((share) => window.low + share * (window.high - window.low));
    });
  }

  /** Ticks and numbers, but no number that a line, a proposal's words or the agreed number would cover. */
  #drawScale(window, agreed, lines, taken) {
    const pxPerHz = this.node.clientHeight / (window.high - window.low);
    const key = [pxPerHz, window.low, agreed, ...lines.flatMap(({ hz, half }) => [hz, half]), ...taken].map((each) => each.toFixed(2)).join(" ");
    if (!pxPerHz || this.scale.dataset.drawn === key) return;
    this.scale.dataset.drawn = key;
    const step = scaleStep(pxPerHz);
    const tickStep = step > 5 ? step / 5 : 1;
    const far = (hz, from, px) => Math.abs(hz - from) * pxPerHz > px;
    const isFree = (hz) =>
      far(hz, agreed, NUMBER_PX) && lines.every((line) => far(hz, line.hz, LINE_PX + line.half * pxPerHz)) && taken.every((tag) => far(hz, tag, TAG_PX));
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

  get #heightPx() {
    return Math.max(this.node.clientHeight, NAME_PX);
  }

  #place(node, hz, window) {
    node.style.setProperty("--share", shareOf(hz, window).toFixed(4));
  }
}
