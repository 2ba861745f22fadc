// "The reference": a vertical axis of hertz with the agreed line across it, what
// instruments of fixed pitch ask for, and the way to change it.

import { setReference } from "./api.js";
import { centsBetween, shareOf, windowOf } from "./axis.js";
import { el, mark, say } from "./dom.js";
import { memory } from "./memory.js";
import { signed, uncertainty } from "./words.js";

const LOWEST_HZ = 390;
const HIGHEST_HZ = 470;
const NAME_PX = 54; // height of an instrument's name with its margin
const STANDARD_HZ = 440; // ISO 16:1975

/** One instrument of fixed pitch on the axis: its line, and a button that asks for its pitch. */
class Stand {
  #hz = STANDARD_HZ;

  constructor(parent, ask) {
    this.line = el("div", { className: "stand" });
    this.name = el("span");
    this.error = el("span", { className: "soft" });
    const onclick = () => ask(Math.round(this.#hz * 10) / 10);
    this.button = el("button", { type: "button", className: "stand-name", onclick }, this.name, this.error);
    parent.append(this.line, this.button);
  }

  update(name, errorCents, hz, side, share) {
    this.#hz = hz;
    say(this.name, name);
    say(this.error, `${uncertainty(errorCents)} cents`);
    mark(this.line, "side", side);
    mark(this.button, "side", side);
    this.button.style.setProperty("--share", share.toFixed(4));
  }

  remove() {
    this.line.remove();
    this.button.remove();
  }
}

export class ReferenceView {
  #state;
  #stands = new Map();
  #wanted = null; // hertz being considered, or null for "as it is"

  constructor(root, state) {
    this.#state = state;
    this.scale = el("div", { className: "scale", "aria-hidden": "true" });
    this.stands = el("div", { className: "stands" });
    this.line = el("div", { className: "agreed" }, el("strong"));
    this.draft = el("div", { className: "draft" }, el("span", {}));
    this.axis = el("div", { className: "axis" }, this.scale, this.stands, this.draft, this.line);
    this.hz = el("input", { id: "a4", type: "number", min: LOWEST_HZ, max: HIGHEST_HZ, step: "any", inputMode: "decimal", required: true, oninput: () => this.#consider(this.hz.valueAsNumber, false) });
    this.code = el("input", { id: "code", autocomplete: "off", autocapitalize: "off", required: true, value: memory.code });
    this.fault = el("p", { className: "fault", role: "alert" });
    this.send = el("button", { className: "main" }, "set it for everyone");
    const form = el(
      "form",
      { onsubmit: (event) => this.#submit(event), noValidate: true },
      el("div", { className: "stepper" },
        this.#step("lower", -0.1), el("label", {}, el("span", {}, "A4 in hertz"), this.hz), this.#step("higher", 0.1)),
      el("label", {}, el("span", {}, "room code"), this.code),
      this.fault,
      this.send,
      el("p", { className: "soft" }, "The roll call starts again for everyone."),
    );
    root.append(this.axis, form);
    state.onChange(() => this.#update());
  }

  #step(word, hz) {
    const step = () => this.#consider(Math.round(((this.#wanted ?? this.#agreed) + hz) * 10) / 10);
    return el("button", { type: "button", onclick: step }, word);
  }

  get #agreed() {
    return this.#state.room?.reference.a4_hz ?? STANDARD_HZ;
  }

  #consider(hz, fill = true) {
    const possible = hz >= LOWEST_HZ && hz <= HIGHEST_HZ;
    this.#wanted = possible && hz !== this.#agreed ? hz : null;
    if (fill && possible) this.hz.value = hz.toFixed(1);
    say(this.fault, "");
    this.#update();
  }

  #update() {
    const room = this.#state.room;
    if (!room) return;
    const agreed = this.#agreed;
    if (this.#wanted === null && document.activeElement !== this.hz) this.hz.value = agreed.toFixed(1);
    const stands = [...this.#state.settled].map(([id, reading]) => ({
      id,
      name: this.#state.player(id)?.name ?? id,
      hz: agreed * 2 ** (reading.cents / 1200),
      reading,
    }));
    const window = windowOf([agreed, ...(this.#wanted ? [this.#wanted] : []), ...stands.map((each) => each.hz)]);
    this.#drawScale(window);
    this.#place(this.line, agreed, window);
    say(this.line.firstChild, agreed.toFixed(1));
    this.draft.hidden = this.#wanted === null;
    if (this.#wanted !== null) {
      this.#place(this.draft, this.#wanted, window);
      const cents = signed(centsBetween(this.#wanted, agreed));
      say(this.draft.firstChild, `${this.#wanted.toFixed(1)}\n${cents} cents`);
    }
    mark(this.draft, "side", this.#wanted === null ? null : this.#wanted < agreed ? "below" : "above");
    this.#drawStands(stands, window);
  }

  // Each instrument's line stands at its own height; the names keep clear of each other.
  #drawStands(stands, window) {
    const gap = NAME_PX / Math.max(this.axis.clientHeight, NAME_PX);
    let free = 0;
    for (const [id, stand] of this.#stands) {
      if (!stands.some((each) => each.id === id)) {
        stand.remove();
        this.#stands.delete(id);
      }
    }
    for (const { id, name, hz, reading } of stands.sort((a, b) => a.hz - b.hz)) {
      if (!this.#stands.has(id)) this.#stands.set(id, new Stand(this.stands, (asked) => this.#consider(asked)));
      const share = Math.max(shareOf(hz, window), free);
      free = share + gap;
      const side = hz < this.#agreed ? "below" : "above";
      this.#stands.get(id).update(`${name} ${hz.toFixed(1)}`, reading.uncertainty_cents, hz, side, share);
      this.#place(this.#stands.get(id).line, hz, window);
    }
  }

  #drawScale(window) {
    const key = `${window.low.toFixed(2)} ${window.high.toFixed(2)}`;
    if (this.scale.dataset.window === key) return;
    this.scale.dataset.window = key;
    const step = window.high - window.low > 24 ? 5 : 1;
    const ticks = [];
    for (let hz = Math.ceil(window.low / step) * step; hz <= window.high; hz += step) {
      const share = shareOf(hz, window);
      if (share < 0.03 || share > 0.97) continue; // would be cut at the edge
      const standard = hz === STANDARD_HZ ? "440 · ISO 16" : String(hz);
      const tick = el("span", { className: "hz" }, hz % (step * 2) === 0 ? standard : "");
      this.#place(tick, hz, window);
      ticks.push(tick);
    }
    this.scale.replaceChildren(...ticks);
  }

  #place(node, hz, window) {
    node.style.setProperty("--share", shareOf(hz, window).toFixed(4));
  }

  async #submit(event) {
    event.preventDefault();
    const hz = this.hz.valueAsNumber;
    if (Number.isNaN(hz)) {
      say(this.fault, `give A4 in hertz, ${LOWEST_HZ} to ${HIGHEST_HZ}`);
      return;
    }
    this.send.disabled = true;
    try {
      await setReference(hz, this.#state.player(memory.me)?.name, this.code.value);
      memory.code = this.code.value;
      this.#wanted = null;
      this.hz.blur();
      say(this.fault, "");
      this.#update();
    } catch (error) {
      say(this.fault, error.message);
    } finally {
      this.send.disabled = false;
    }
  }
}
