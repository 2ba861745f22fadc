// How long a drum rings: fundamental and overtone as tails that thin out and fade, a
// second as long for both.

import { el, say } from "./dom.js";
import { secondsWords } from "./drum_words.js";

const SCALES_S = [1, 2, 4, 8];

class Tail {
  constructor(words) {
    this.tail = el("span", { className: "tail" });
    this.room = el("span", { className: "tail-room" }, this.tail);
    this.seconds = el("strong");
    this.node = el("p", { className: "tail-row" }, el("span", {}, words), this.room, this.seconds);
  }

  update(ringS, scaleS) {
    this.room.style.setProperty("--second", `${(100 / scaleS).toFixed(2)}%`);
    this.tail.style.setProperty("width", `${((100 * (ringS ?? 0)) / scaleS).toFixed(1)}%`);
    say(this.seconds, secondsWords(ringS));
  }
}

export class DrumTails {
  constructor() {
    this.fundamental = new Tail("rings");
    this.overtone = new Tail("overtone");
    this.node = el("div", { className: "tails" }, this.overtone.node, this.fundamental.node);
  }

  /** Both in seconds, null where too little was heard. */
  update(ringS, overtoneS) {
    const longest = Math.max(ringS ?? 0, overtoneS ?? 0);
    const scaleS = SCALES_S.find((each) => each >= longest) ?? longest;
    this.fundamental.update(ringS, scaleS);
    this.overtone.update(overtoneS, scaleS);
  }
}
