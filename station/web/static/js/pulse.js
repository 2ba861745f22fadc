// How the mark moves at a beat rate.
//
// Two tones of equal strength, f apart, swell and fade as |cos(pi f t)|: that is
// the movement drawn, f times a second. WCAG 2.2, success criterion 2.3.1, bounds
// flashes: at most three a second, or a change of relative luminance under 10%,
// or an area under 25% of any 341 x 256 px (21 824 px). Below CALM_HZ the mark
// changes in brightness and in size. Above it the brightness holds still within
// those 10%, the size swings less, and the rate on screen stops rising at
// FASTEST_HZ; the number beside it tells the rest. The moving edge of the lens
// stays under the area bound at every rate (MARK_WIDTH_PX, BELLY_PX).

export const CALM_HZ = 2.5;
export const FLASH_LIMIT_HZ = 3;
export const FASTEST_HZ = 6;
export const MARK_WIDTH_PX = 420;
export const BELLY_PX = 46;
const STILL_SIZE = 0.62;

/** Between a and b by share 0..1. */
function between(a, b, share) {
  return a + (b - a) * Math.min(Math.max(share, 0), 1);
}

/** What the mark does at a beat rate: its rate, and how far brightness and size swing. */
export function pulseAt(beatsHz) {
  const share = (beatsHz - CALM_HZ) / (FLASH_LIMIT_HZ - CALM_HZ);
  return {
    rateHz: Math.min(beatsHz, FASTEST_HZ),
    lightSwing: between(0.5, 0.04, share),
    sizeSwing: between(0.85, 0.5, share),
  };
}

/** Swell 0..1 at a phase counted in beats. */
export function swell(phase) {
  return Math.abs(Math.cos(Math.PI * phase));
}

/**
 * Drives one mark: `draw(size, light)` gets both as 0..1 for each frame.
 * A rate of nought draws once and stops: the mark stands still.
 */
export class Pulse {
  #draw;
  #law = pulseAt(0);
  #phase = 0;
  #frame = 0;
  #last = null;
  #calm = window.matchMedia("(prefers-reduced-motion: reduce)");

  constructor(draw) {
    this.#draw = draw;
    this.#calm.addEventListener("change", () => this.set(this.#law.rateHz));
  }

  /** Beat from now on at this rate; the swing goes on from where it is. */
  set(beatsHz) {
    this.#law = pulseAt(beatsHz);
    const moves = beatsHz > 0 && !this.#calm.matches;
    if (moves && !this.#frame) this.#frame = requestAnimationFrame((at) => this.#step(at));
    if (!moves) this.stop();
  }

  /** Stand still, fully drawn. */
  stop() {
    cancelAnimationFrame(this.#frame);
    this.#frame = 0;
    this.#last = null;
    this.#phase = 0;
    this.#draw(STILL_SIZE, 1);
  }

  #step(at) {
    // A tab that slept must not jump: a frame counts for a tenth of a second at most.
    const passed = this.#last === null ? 0 : Math.min((at - this.#last) / 1000, 0.1);
    this.#last = at;
    this.#phase = (this.#phase + this.#law.rateHz * passed) % 1;
    const now = swell(this.#phase);
    this.#draw(1 - this.#law.sizeSwing * (1 - now), 1 - this.#law.lightSwing * (1 - now));
    this.#frame = requestAnimationFrame((next) => this.#step(next));
  }
}
