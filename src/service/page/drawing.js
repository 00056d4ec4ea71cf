// What is drawn over a picture. Sizes are screen pixels; every line has a light border, so that it shows on any ground.
// The colours and shapes of the pictures of a comparison: orange and a dashed ring for a mark that cannot be right.
export const WRONG = "#c48700";
const RENDER = "#d55e00", REFERENCE = "#0072b2", DARK = "#1d1d1b", LIGHT = "rgba(255,255,255,.85)";
/** The drawn model stands for a render. */
export const colour = (side) => (side === "reference" ? REFERENCE : RENDER);
const FONT = '12px system-ui, "DejaVu Sans", sans-serif';

function stroke(c, color, width = 1.5, dash = []) {
  c.setLineDash([]); c.lineWidth = width + 2; c.strokeStyle = LIGHT; c.stroke();
  c.setLineDash(dash); c.lineWidth = width; c.strokeStyle = color; c.stroke();
  c.setLineDash([]);
}

export function label(c, text, x, y, color = DARK) {
  // A mark outside of the window has no name in it.
  if (x < 0 || x > c.canvas.clientWidth + 11 || y < -8 || y > c.canvas.clientHeight) return;
  c.font = FONT;
  // Never cut off at the right.
  const room = c.canvas.clientWidth - 4 - c.measureText(text).width;
  if (x > room && room > 0) { x = Math.max(4, room); y -= 6; }
  c.lineWidth = 3; c.lineJoin = "round"; c.strokeStyle = LIGHT; c.strokeText(text, x, y);
  c.fillStyle = color; c.fillText(text, x, y);
}

/** A landmark: datum round, check square, a dashed ring where it cannot be right; dotted where its partner is missing. The middle stays free to see the point. */
export function mark(c, [x, y], { color, use, single, selected, wrong, small }) {
  const r = selected ? 9 : small ? 4 : 6;
  c.beginPath();
  if (use === "check") c.rect(x - r, y - r, 2 * r, 2 * r); else c.arc(x, y, r, 0, 7);
  stroke(c, wrong ? WRONG : color, selected ? 2.5 : 1.5, single ? [1, 4] : []);
  if (small && !selected && !wrong) return;
  c.beginPath();
  for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) { c.moveTo(x + dx * 2, y + dy * 2); c.lineTo(x + dx * (r + 4), y + dy * (r + 4)); }
  stroke(c, wrong ? WRONG : color, 1);
  if (wrong) { c.beginPath(); c.arc(x, y, 2 * r + 1, 0, 7); stroke(c, WRONG, 2, [6, 4]); }
}

/** A landmark that lies behind what is seen: faint, without the cross of one that shows its point. */
export function behind(c, at, { color, use, selected }) {
  c.save();
  c.globalAlpha = selected ? 0.6 : 0.3;
  mark(c, at, { color, use, small: true });
  c.restore();
}

export function residual(c, [x, y], [tx, ty], wrong) {
  const length = Math.hypot(tx - x, ty - y);
  if (length < 2) return;
  c.beginPath(); c.moveTo(x, y); c.lineTo(tx, ty);
  const [ux, uy] = [(tx - x) / length, (ty - y) / length];
  c.moveTo(tx - 6 * ux - 3 * uy, ty - 6 * uy + 3 * ux); c.lineTo(tx, ty); c.lineTo(tx - 6 * ux + 3 * uy, ty - 6 * uy - 3 * ux);
  stroke(c, wrong ? WRONG : DARK, 1.5);
}

export function ellipse(c, [x, y], [a, b], degrees, color) {
  c.beginPath(); c.ellipse(x, y, Math.max(a, 3), Math.max(b, 3), (degrees * Math.PI) / 180, 0, 7);
  stroke(c, color, 2, [6, 4]);
  cross(c, [x, y], color, 4);
  // A small one is hard to find: a ring around it leads the eye.
  if (a < 12) { c.beginPath(); c.arc(x, y, 18, 0, 7); stroke(c, color, 1.5, [2, 4]); }
}

/** Whether a label fits beside those that are there; `taken` takes it in. */
function fits(c, text, x, y, taken) {
  c.font = FONT;
  const box = [x, y - 12, x + c.measureText(text).width, y + 3];
  const free = taken.every((b) => box[0] > b[2] || box[2] < b[0] || box[1] > b[3] || box[3] < b[1]);
  if (free) taken.push(box);
  return free;
}

export function cross(c, [x, y], color, r = 12) {
  c.beginPath(); c.moveTo(x - r, y); c.lineTo(x + r, y); c.moveTo(x, y - r); c.lineTo(x, y + r); stroke(c, color, 1.5);
}

/** A place to look at, with words under it. */
export function ring(c, [x, y], text, r = 18) {
  c.beginPath(); c.arc(x, y, r, 0, 7); stroke(c, DARK, 1.5, [2, 4]);
  c.font = FONT;
  label(c, text, x - c.measureText(text).width / 2, y + r + 15);
}

/** The reference's mark in the one picture: a tick that hangs from the point. */
export function tick(c, [x, y], color, selected) {
  c.beginPath(); c.moveTo(x, y); c.lineTo(x, y + (selected ? 20 : 14)); stroke(c, color, selected ? 3 : 2);
  c.beginPath(); c.arc(x, y, 1.5, 0, 7); c.fillStyle = color; c.fill();
}

/** What lies between the two marks of a landmark. */
export function between(c, [x, y], [tx, ty], wrong) {
  if (Math.hypot(tx - x, ty - y) < 1) return;
  c.beginPath(); c.moveTo(x, y); c.lineTo(tx, ty); stroke(c, wrong ? WRONG : DARK, 1.5);
}

/** Names of marks, each where it covers no other one; what must be named is. */
export function naming(c) {
  const taken = [];
  return {
    add(text, [x, y], { must, crowded, color }) {
      const free = fits(c, text, x + 11, y - 8, taken);
      if (must || (!crowded && free)) label(c, text, x + 11, y - 8, color);
    },
  };
}

export function outline(c, points, { color, closed, selected, name, dash = [] }) {
  if (!points.length) return;
  c.beginPath(); points.forEach(([x, y], i) => (i ? c.lineTo(x, y) : c.moveTo(x, y)));
  if (closed) c.closePath();
  stroke(c, color, selected ? 2.5 : 1.5, dash);
  if (name) label(c, name, points[0][0] + 8, points[0][1] - 7, color);
}

export function handle(c, [x, y], selected, text) {
  const r = selected ? 6 : 4;
  c.beginPath(); c.rect(x - r, y - r, 2 * r, 2 * r); c.fillStyle = selected ? DARK : "#fff"; c.fill(); stroke(c, DARK, 1.5);
  if (text) label(c, text, x + 8, y - 6);
}

export function knob(c, [x, y]) { c.beginPath(); c.arc(x, y, 3, 0, 7); c.fillStyle = "#fff"; c.fill(); stroke(c, DARK, 1); }

/** Notes at the top left of a picture, on a ground of their own. */
export function notes(c, lines) {
  c.font = FONT;
  lines.forEach((text, i) => {
    const width = c.measureText(text).width;
    c.fillStyle = "rgba(255,255,255,.82)"; c.fillRect(6, 6 + 20 * i, width + 10, 18);
    c.fillStyle = DARK; c.fillText(text, 11, 19 + 20 * i);
  });
}

/** A straight line with a light border. */
export function line(c, [x, y], [tx, ty], color, width) { c.beginPath(); c.moveTo(x, y); c.lineTo(tx, ty); stroke(c, color, width); }

/** The point of a mark itself; a ring around the one that keys move. */
export function dot(c, [x, y], color, isChosen) {
  c.beginPath(); c.arc(x, y, 2, 0, 7); c.fillStyle = color; c.fill();
  if (isChosen) { c.beginPath(); c.arc(x, y, 6, 0, 7); stroke(c, color, 1.5); }
}
