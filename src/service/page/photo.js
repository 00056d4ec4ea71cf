// The reference by itself, with the lines of the drawn model over it once its camera is known.
import { ask } from "./server.js";
import { Pane } from "./pane.js";

/** How long marks rest before the lines are drawn anew, milliseconds. */
const WAIT = 150;

export class Photo extends Pane {
  constructor(host) {
    super("reference", host);
    this.hasLines = false;
    this.path = null;
    /** The view and the camera by which they are laid. */
    this.laid = "";
  }

  /** Lays the model's lines over the photo, by the camera with this stamp; none where there is no camera. */
  lay(index, stamp) {
    const key = stamp && this.hasLines ? `${index} ${stamp}` : "";
    if (key === this.laid) return;
    this.laid = key;
    clearTimeout(this.timer);
    if (!key) { this.path = null; return this.draw(); }
    this.timer = setTimeout(async () => {
      const { ok, data } = await ask(`api/lines/${index}`);
      if (key !== this.laid) return;
      this.path = ok ? new Path2D(data.path) : null;
      this.draw();
    }, WAIT);
  }

  picture(c, view, width, height, ratio) {
    super.picture(c, view, width, height, ratio);
    if (!this.path) return;
    c.save();
    c.filter = "none";
    c.translate(view.x, view.y);
    c.scale(view.scale, view.scale);
    c.lineJoin = "round";
    for (const [color, wide] of [["rgba(255,255,255,.55)", 3], ["#b34f00", 1.25]]) { c.strokeStyle = color; c.lineWidth = wide / view.scale; c.stroke(this.path); }
    c.restore();
  }
}
