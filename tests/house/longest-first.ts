import { BaseSequencer, type TestSpecification } from "vitest/node";

/** Files that take longest, though not all are long: begun last, one of them would run on while the other core waits. */
const long = [
  "end-to-end/notebook-shipped",
  "end-to-end/bundle",
  "end-to-end/store",
  "end-to-end/kernel-life",
  "end-to-end/library",
  "recovery/relate-subs",
  "recovery/simulate-scenarios",
  "end-to-end/notebook.",
  "end-to-end/report-browser",
  "end-to-end/verify",
  "recovery/causes.",
  "recovery/grade",
  "reference/notebook-nbclient",
];

/** Order of the test files: the long ones, then what the runner would take first. */
export default class LongestFirst extends BaseSequencer {
  override async sort(files: TestSpecification[]): Promise<TestSpecification[]> {
    const sorted = await super.sort(files);
    const isLong = ({ moduleId }: TestSpecification) => long.some((name) => moduleId.includes(`tests/${name}`));
    return [...sorted.filter(isLong), ...sorted.filter((file) => !isLong(file))];
  }
}
