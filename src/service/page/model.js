// The drawn model on its turntable: a drag turns it, a click tells a place on it.
import { ask } from "./server.js";
import { Pane } from "./pane.js";

const $ = (id) => document.getElementById(id);
/** Degrees for a pixel that the pointer is dragged. */
const TURN = 0.4;
/** Where it is looked at from, degrees, until something better is known. */
const START = [300, 20];

export class ModelPane extends Pane {
  constructor(host) {
    super("model", host);
    this.tiles.root = "api/model";
    this.about = null;
    /** Places that the model itself hides from where it is looked at now, each as its three numbers. */
    this.hidden = new Set();
    [this.azimuth, this.elevation] = START;
    for (const id of ["azimuth", "elevation"]) {
      const slider = $(`model-${id}`);
      slider.addEventListener("input", () => { this.tiles.isCoarse = true; this.turnTo(Number($("model-azimuth").value), Number($("model-elevation").value)); });
      slider.addEventListener("change", () => this.rest());
    }
  }

  /** Has the program read the mesh, and shows it. */
  async open() {
    const wanted = (this.wanted = {});
    this.isAsked = true;
    if (!this.about) this.state.textContent = "Reading the model…";
    const { ok, data } = await ask("api/model");
    if (wanted !== this.wanted) return;
    const isOther = this.about?.stamp !== data?.stamp;
    this.about = ok ? data : null;
    this.state.textContent = ok ? "" : data?.error?.text ?? "The program does not answer.";
    $("model-file").title = ok ? `${data.facets} facets, ${data.parts.length} parts` : "";
    if (!ok) { this.tiles.leave(); return this.draw(); }
    this.turnTo(this.azimuth, this.elevation);
    if (isOther) this.cursor = null;
    if (this.fitted) this.fit();
  }

  /** As the program words the direction. */
  get turn() { return `${Math.round(this.azimuth * 10) % 3600}_${Math.round(this.elevation * 10)}`; }

  /** Looks at the model from there; what is asked for while a picture is on its way waits for it. */
  turnTo(azimuth, elevation) {
    this.azimuth = ((azimuth % 360) + 360) % 360;
    this.elevation = Math.min(Math.max(elevation, -90), 90);
    $("model-azimuth").value = this.azimuth;
    $("model-elevation").value = this.elevation;
    if (!this.about) return;
    this.waits = this.tiles.isCoarse && this.tiles.isLoading();
    if (!this.waits) this.tiles.take({ ...this.about, stamp: `${this.about.stamp}/${this.turn}` });
    this.draw();
  }

  /** A picture has come. */
  loaded() { if (this.waits) this.turnTo(this.azimuth, this.elevation); super.loaded(); }

  /** It is turned no more: sharp again. */
  rest() {
    if (!this.tiles.isCoarse) return;
    this.tiles.isCoarse = false;
    this.turnTo(this.azimuth, this.elevation);
  }

  /** Looks along a direction that points from the model towards the viewer. */
  lookFrom(towards) {
    const [a, b, c] = this.about?.up === "y" ? [towards[2], towards[0], towards[1]] : towards;
    this.turnTo((Math.atan2(b, a) * 180) / Math.PI, (Math.asin(Math.min(Math.max(c, -1), 1)) * 180) / Math.PI);
    if (this.fitted) this.fit();
  }

  /** For another view: asked for anew, from where it was seen at first. */
  begin() { this.isAsked = false; [this.azimuth, this.elevation] = START; this.fitted = true; }

  /** Whether the model itself hides a place. */
  hides(place) { return this.hidden.has(String(place)); }

  /** Asks which of these places the model hides, once for each direction and list: one question at a time. */
  async tellHidden(places) {
    const asked = `${this.about.stamp}/${this.turn}/${places.join(" ")}`;
    if (this.isTelling || asked === this.told) return;
    this.isTelling = true;
    const { ok, data } = places.length ? await ask("api/seen", { turn: this.turn, places }) : { ok: true, data: { seen: [] } };
    this.isTelling = false;
    // Of another direction by now, it is asked anew with the next picture.
    this.told = asked;
    this.hidden = new Set(ok ? places.filter((_, k) => !data.seen[k]).map(String) : []);
    this.canvas.dataset.hidden = this.hidden.size;
    this.draw();
  }

  /** Where the picture shows a place on the model. */
  project(place) {
    if (!this.about) return [-1e6, -1e6];
    const { middle, scale, up, size } = this.about, t = Math.PI / 180;
    const [sin, cos, rise, level] = [Math.sin(this.azimuth * t), Math.cos(this.azimuth * t), Math.sin(this.elevation * t), Math.cos(this.elevation * t)];
    const own = ([a, b, c]) => (up === "y" ? [b, c, a] : [a, b, c]);
    const along = (axis) => own(axis).reduce((sum, v, k) => sum + v * (place[k] - middle[k]), 0) * scale;
    return [size[0] / 2 + along([-sin, cos, 0]), size[1] / 2 - along([-rise * cos, -rise * sin, level])];
  }

  /** The model itself fills the window, as it is seen just now; the picture has room for it however it is turned. */
  fit() {
    if (!this.about) return super.fit();
    const [least, greatest] = this.about.box, corners = [...Array(8).keys()].map((k) => this.project([0, 1, 2].map((axis) => (k >> axis & 1 ? greatest : least)[axis])));
    const [x, y] = [0, 1].map((k) => [Math.min(...corners.map((c) => c[k])), Math.max(...corners.map((c) => c[k]))]);
    if (!this.width || !this.height) return;
    const scale = 0.9 * Math.min(this.width / (x[1] - x[0]), this.height / (y[1] - y[0]));
    this.view = { scale, x: this.width / 2 - ((x[0] + x[1]) / 2) * scale, y: this.height / 2 - ((y[0] + y[1]) / 2) * scale };
    this.fitted = true;
    this.draw();
  }

  drag(press, at, event) {
    if (press.button !== 0 || event.shiftKey) return super.drag(press, at, event);
    this.tiles.isCoarse = true;
    this.turnTo(this.azimuth - (at[0] - press.last[0]) * TURN, this.elevation + (at[1] - press.last[1]) * TURN);
  }

  up(event) { this.isPlain = event.altKey; super.up(event); this.rest(); }
}
