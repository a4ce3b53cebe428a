import { CallError } from "../terms/errors.js";
import { notAllowed, type Shape } from "./json-shape.js";
import { type Scenario, scenarioShape } from "./scenario-shape.js";

export type { Scenario } from "./scenario-shape.js";

/**
 * Reads a scenario from JSON text, fills in what is left out, and checks that names refer to what is there.
 * {@link describeScenario} lists every field.
 * @param file - for messages
 * @throws CallError naming file, place, what was found and what is allowed
 * @example
 * ```ts
 * import { parseScenario } from "nightyield";
 * console.log(parseScenario(json, "night.json").nights.length);
 * ```
 */
export function parseScenario(json: string, file: string): Scenario {
  let value: unknown;
  try {
    value = JSON.parse(json);
  } catch (cause) {
    throw new CallError(`Cannot use the scenario ${file}: it is not JSON (${(cause as Error).message})`, { cause });
  }
  const scenario = scenarioShape.read(value, { file, path: "$" });
  checkNames(scenario, file);
  return scenario;
}

function checkNames(scenario: Scenario, file: string): void {
  const oneOf = (names: readonly string[]) => `one of ${names.map((name) => `"${name}"`).join(", ")}`;
  const [filters, targets] = [Object.keys(scenario.filters), Object.keys(scenario.targets)];
  const seen = new Set<string>();
  scenario.nights.forEach((night, n) => {
    const path = `$.nights[${n}]`;
    if (seen.has(night.name))
      throw notAllowed({ file, path: `${path}.name` }, night.name, "a name that no other night has");
    seen.add(night.name);
    if (Number.isNaN(Date.parse(night.startUtc)))
      throw notAllowed({ file, path: `${path}.startUtc` }, night.startUtc, "a date that exists");
    night.blocks.forEach((block, b) => {
      if (!targets.includes(block.target))
        throw notAllowed({ file, path: `${path}.blocks[${b}].target` }, block.target, oneOf(targets));
      if (!filters.includes(block.filter))
        throw notAllowed({ file, path: `${path}.blocks[${b}].filter` }, block.filter, oneOf(filters));
    });
    const frames = night.repeat * night.blocks.reduce((sum, block) => sum + block.frames, 0);
    night.events.forEach((event, e) => {
      const at = `${path}.events[${e}]`;
      if ("filter" in event && !filters.includes(event.filter))
        throw notAllowed({ file, path: `${at}.filter` }, event.filter, oneOf(filters));
      if ("frame" in event && event.frame >= frames)
        throw notAllowed({ file, path: `${at}.frame` }, event.frame, `a whole number from 0 to ${frames - 1}`);
      if ("toMin" in event && event.toMin < event.fromMin)
        throw notAllowed({ file, path: `${at}.toMin` }, event.toMin, `a number from ${event.fromMin} (fromMin) up`);
    });
  });
}

/**
 * Every field of a scenario, one a line: path, what is allowed, default, meaning. For documents.
 * @example
 * ```ts
 * import { describeScenario } from "nightyield";
 * console.log(describeScenario());
 * ```
 */
export function describeScenario(): readonly string[] {
  const lines: string[] = [];
  const walk = (path: string, shape: Shape<unknown>): void => {
    const simple = shape.fields === undefined;
    const otherwise = simple && shape.otherwise !== undefined ? `; else ${JSON.stringify(shape.otherwise)}` : "";
    lines.push(`${path}: ${shape.about}${simple ? ` (${shape.allowed}${otherwise})` : ""}`);
    for (const [name, field] of Object.entries(shape.fields ?? {})) walk(`${path}.${name}`, field);
  };
  walk("$", scenarioShape);
  return lines;
}
