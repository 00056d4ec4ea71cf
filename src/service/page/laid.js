// Where a point of the reference lies in the render, and the way back: the map that the program found.

const apply = ([a, b, c], x, y) => {
  const w = c[0] * x + c[1] * y + c[2];
  return [(a[0] * x + a[1] * y + a[2]) / w, (b[0] * x + b[1] * y + b[2]) / w];
};

/** From the reference to the render. */
export function toRender(map, [x, y]) {
  if (map.lens) {
    // The division model: what the lens pulled in is pushed out again.
    const [cx, cy, radius, k] = map.lens, factor = 1 / (1 + (k * ((x - cx) ** 2 + (y - cy) ** 2)) / radius ** 2);
    [x, y] = [cx + (x - cx) * factor, cy + (y - cy) * factor];
  }
  return apply(map.rows, x, y);
}

/** From the render to the reference. */
export function toReference(map, [x, y]) {
  let [u, v] = apply(map.back, x, y);
  if (map.lens) {
    const [cx, cy, radius, k] = map.lens, square = ((u - cx) ** 2 + (v - cy) ** 2) / radius ** 2;
    const factor = 2 / (1 + Math.sqrt(1 - 4 * k * square));
    [u, v] = [cx + (u - cx) * factor, cy + (v - cy) * factor];
  }
  return [u, v];
}

/** The ellipse of a prediction in the reference as it lies in the render: half axes and turn, degrees. */
export function ellipseInRender(map, { place, half_axes: [a, b], turned_deg }) {
  const t = (turned_deg * Math.PI) / 180, step = 0.5;
  const at = toRender(map, place);
  const axis = (ux, uy, length) => {
    const [x, y] = toRender(map, [place[0] + ux * step, place[1] + uy * step]);
    return [((x - at[0]) / step) * length, ((y - at[1]) / step) * length];
  };
  const [p, q] = [axis(Math.cos(t), Math.sin(t), a), axis(-Math.sin(t), Math.cos(t), b)];
  // The half axes of p cos + q sin.
  const xx = p[0] ** 2 + q[0] ** 2, yy = p[1] ** 2 + q[1] ** 2, xy = p[0] * p[1] + q[0] * q[1];
  const middle = (xx + yy) / 2, half = Math.hypot((xx - yy) / 2, xy);
  return { place: at, half_axes: [Math.sqrt(middle + half), Math.sqrt(Math.max(middle - half, 0))], turned_deg: (Math.atan2(2 * xy, xx - yy) * 90) / Math.PI };
}
