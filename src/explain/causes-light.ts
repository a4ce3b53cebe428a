import { median } from "../numbers/quantiles.js";
import { causeConstants as k } from "./causes-constants.js";
import { clamp, evidence, type Placed, type Shared, stepsMoved } from "./causes-shares.js";
import type { Signs } from "./causes-signs.js";
import type { CauseEvidence } from "./causes-terms.js";

/** Light lost: cloud or haze, dew, or something in the way. */
export function sharesOfLight(placed: Placed): Shared {
  const own = placed.all[placed.index];
  const knocked = isDoubled(placed);
  if (knocked)
    return {
      shares: { tracking: 0.85, cloud: 0.15 },
      evidence: [
        ...evidence("tracking", "light-lost", own.losses.light, Math.exp(-own.losses.light / 2), 1, "transparency"),
        ...evidence("tracking", "stars-doubled", 3, own.starRatio, 1, "starCount"),
        ...evidence("tracking", "field-displaced", 2, stepsMoved(own), 1),
      ],
    };
  if (own.losses.light < k.dim.from) return { shares: { cloud: 1 }, evidence: [] };
  const stretch = dimStretch(placed);
  // Where half is blocked, widths tell little.
  const open = stretch.filter((s) => s.losses.blocked < Math.LN2);
  const sum = (of: (s: Signs) => number) => open.reduce((total, s) => total + of(s), 0);
  const ratio = sum((s) => s.losses.width) / sum((s) => s.losses.light);
  const byRatio = Number.isNaN(ratio) ? 0 : clamp(k.dew.perRatio * (ratio - k.dew.fromRatio), k.dew.most);
  const rough = roughness(stretch);
  const byRoughness = Number.isNaN(rough) ? 0 : clamp(k.dew.perRoughness * (rough - k.dew.usualRoughness), 2);
  const apart = apartness(placed, stretch);
  const byApart = Number.isNaN(apart) ? 0 : clamp(k.dew.perApart * (apart - k.dew.usualApart), k.dew.most);
  const rise = riseMin(placed, stretch);
  const byRise = Number.isNaN(rise) ? 0 : clamp(k.dew.perRise * Math.log(Math.max(1, rise) / k.dew.usualRiseMin), 2.5);
  const together = togetherness(stretch);
  const byTogether = Number.isNaN(together) ? 0 : clamp(k.dew.perTogether * (together - k.dew.usualTogether), 3);
  const dew = k.dew.base + byRatio + byRoughness + byApart + byRise + byTogether;
  const ownRatio = own.losses.width / own.losses.light;
  const focus = dew + clamp(k.defocus.perRatio * (((ratio || 0) + ownRatio) / 2 - k.defocus.fromRatio), 2 * k.dew.most);
  const [dewOdds, focusOdds] = [Math.exp(dew), Math.exp(focus)];
  const total = 1 + dewOdds + focusOdds;
  const both = (code: CauseEvidence["code"], logOdds: number, value: number, usual: number) => [
    ...evidence("dew", code, logOdds, value, usual),
    ...evidence("cloud", code, -logOdds, value, usual),
  ];
  return {
    shares: { cloud: 1 / total, dew: dewOdds / total, focus: focusOdds / total },
    evidence: [
      ...both("wider-as-dimmer", byRatio, ratio, k.dew.fromRatio),
      ...both("width-and-light-apart", byApart, apart, k.dew.usualApart),
      ...both("width-grows-with-loss", byTogether, together, k.dew.usualTogether),
      ...both("loss-changes-from-sub-to-sub", byRoughness, rough, k.dew.usualRoughness),
      ...both("minutes-to-dim", byRise, rise, k.dew.usualRiseMin),
    ],
  };
}

/** A sub and its neighbours in time that are dim without a gap. */
function dimStretch({ all, index }: Placed): Signs[] {
  const stretch = [all[index]];
  for (const way of [-1, 1])
    for (let i = index + way; Math.abs(i - index) <= k.dim.reach; i += way) {
      if (!(all[i]?.losses.light >= k.dim.from)) break;
      stretch.push(all[i]);
    }
  return stretch.sort((a, b) => a.minute - b.minute);
}

/** Two images of every star: light is lost, stars are not, the neighbours are clear, and the field stays displaced. */
function isDoubled(placed: Placed): boolean {
  const { all, index } = placed;
  const own = all[index];
  const clear = [all[index - 1], all[index + 1]].every((s) => s === undefined || s.losses.light < k.dim.from);
  return (
    own.losses.light > k.dim.from && clear && own.starRatio > 0.85 && stepsMoved(own) > k.elongation.knock.doubledSteps
  );
}

/**
 * How little width and loss of light go together: median distance of the width from a proportion of the loss, relative to
 * the mean width, from before the dim stretch until after it.
 */
function apartness({ all }: Placed, stretch: readonly Signs[]): number {
  const [first, last] = [all.indexOf(stretch[0]), all.indexOf(stretch[stretch.length - 1])];
  const around = all.slice(Math.max(0, first - k.dim.margin), last + 1 + k.dim.margin).filter((s) => s.drawnOut < 0.15);
  if (around.length < 4) return Number.NaN;
  const [light, width] = [around.map((s) => s.losses.light), around.map((s) => s.losses.width)];
  const dot = (a: readonly number[], b: readonly number[]) => a.reduce((sum, v, i) => sum + v * b[i], 0);
  const ratio = dot(light, width) / dot(light, light);
  const mean =
    dot(
      width,
      width.map(() => 1),
    ) / width.length;
  return mean > 0.08 ? median(width.map((w, i) => Math.abs(w - ratio * light[i]))) / mean : Number.NaN;
}

/** Correlation of width and loss of light within the stretch; NaN when there is too little of either to tell. */
function togetherness(stretch: readonly Signs[]): number {
  const used = stretch.filter((s) => s.drawnOut < 0.15 && s.losses.blocked < 0.03);
  if (used.length < 4) return Number.NaN;
  const deviations = (values: readonly number[]) => {
    const mean = values.reduce((a, b) => a + b, 0) / values.length;
    return values.map((v) => v - mean);
  };
  const [light, width] = [deviations(used.map((s) => s.losses.light)), deviations(used.map((s) => s.losses.width))];
  const dot = (a: readonly number[], b: readonly number[]) => a.reduce((sum, v, i) => sum + v * b[i], 0);
  return dot(width, width) / used.length > 0.003
    ? dot(light, width) / Math.sqrt(dot(light, light) * dot(width, width))
    : Number.NaN;
}

/** Minutes from a quarter to most of the loss; NaN when the stretch had begun before the first sub. */
function riseMin({ all }: Placed, stretch: readonly Signs[]): number {
  if (stretch[0] === all[0]) return Number.NaN;
  const top = Math.max(...stretch.map((s) => s.losses.light));
  const from = stretch.find((s) => s.losses.light >= 0.25 * top)!;
  const to = stretch.find((s) => s.losses.light >= 0.85 * top)!;
  return to.minute - from.minute;
}

/** How unsteadily the loss of light changes: median distance of a sub from the line through its neighbours, relative. */
function roughness(stretch: readonly Signs[]): number {
  if (stretch.length < 4) return Number.NaN;
  const bends: number[] = [];
  for (let i = 1; i + 1 < stretch.length; i++) {
    const [a, b, c] = [stretch[i - 1], stretch[i], stretch[i + 1]];
    const t = (b.minute - a.minute) / Math.max(1e-6, c.minute - a.minute);
    bends.push(Math.abs(b.losses.light - (1 - t) * a.losses.light - t * c.losses.light));
  }
  return median(bends) / median(stretch.map((s) => s.losses.light));
}
