// The one picture: the reference as the marks lay it over the render, under the render's own outline.
import { address } from "./server.js";
import { Pane } from "./pane.js";
import { Tiles } from "./tiles.js";

export class Over extends Pane {
  constructor(host) {
    super("over", host);
    this.laid = new Tiles(this.tiles.changed, "api/laid");
    /** How much of the reference is seen, 0 to 1. */
    this.blend = 1;
    this.hasLines = true;
    this.lines = null;
  }

  /** The image that a click marks: the one that is seen. */
  get seen() { return this.blend > 0.5 ? "reference" : "render"; }

  async open(index, view) {
    this.index = index;
    this.stamp = "";
    this.laid.about = null;
    this.lines = null;
    await super.open(index, view);
    const at = this.tiles.about?.stamp;
    if (!at) return;
    const lines = new Image();
    lines.onload = () => { if (this.tiles.about?.stamp === at) { this.lines = lines; this.draw(); this.host.laid(); } };
    lines.src = address(`api/outline/${index}?${at}`);
  }

  close() {
    this.stamp = "";
    this.laid.leave();
    this.lines = null;
    super.close();
  }

  source(index) { return `api/picture/${index}/render`; }

  /** Lays the reference anew where the map is another one. */
  async lay(map) {
    const stamp = map?.stamp ?? "";
    if (this.stamp === stamp || !this.tiles.about) return;
    this.stamp = stamp;
    if (!stamp) { this.laid.about = null; this.draw(); return; }
    try {
      await this.laid.open(`api/laid/${this.index}`);
      this.host.laid();
    } catch (error) { this.laid.about = null; this.state.textContent = error.message; }
    this.draw();
  }

  picture(c, view, width, height, ratio) {
    const blend = this.laid.about ? this.blend : 0;
    c.filter = this.host.filter("render");
    if (blend < 1) this.tiles.draw(c, view, width, height, ratio);
    c.filter = this.host.filter("reference");
    c.globalAlpha = blend;
    if (blend) this.laid.draw(c, view, width, height, ratio);
    c.globalAlpha = 1;
    c.filter = "none";
    if (!this.hasLines || !this.lines) return;
    const [w, h] = this.tiles.size;
    c.drawImage(this.lines, view.x, view.y, w * view.scale, h * view.scale);
  }
}
