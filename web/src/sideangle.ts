// The index angle that brings a side up, from a pose on it.

/** Degrees (0 to 360) by which a right-handed turn about +x or +y brings the pose's z towards the spindle. */
export function angleOf(pose: number[], along: "x" | "y"): number {
  const [x, y, z] = [pose[2], pose[6], pose[10]];
  const turn = along === "x" ? Math.atan2(y, z) : Math.atan2(-x, z);
  const degrees = Math.round((turn * 180) / Math.PI * 1e6) / 1e6;
  return ((degrees % 360) + 360) % 360;
}
