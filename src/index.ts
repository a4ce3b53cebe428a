/** Every public name of nightyield. Notebooks and programs import from here. */
export { applyVerdicts, resumeApply } from "./act/apply.js";
export { applyDecisions, type Decision, readDecisions } from "./act/decisions.js";
export { makeLists, stackWeights } from "./act/lists.js";
export { markSubs } from "./act/mark.js";
export { readNight, writeLists } from "./act/night-files.js";
export { undoApply } from "./act/undo.js";
export { driversOf } from "./explain/drivers.js";
export type { Drivers } from "./explain/drivers-terms.js";
export { type Frontier, frontier } from "./grade/frontier.js";
export { type Gains, type GradedNight, type GradeOptions, gradeNight } from "./grade/grade-night.js";
export type { GroupSummary } from "./grade/group-summary.js";
export { type Group, groupsOf } from "./grade/groups.js";
export { defaultLimits, type Limits } from "./grade/limits.js";
export { limitsFor, type Purpose, purposeRegistry, purposes } from "./grade/purposes.js";
export { type FrameMeasurement, type MeasureOptions, measureFrame } from "./measure/measure-frame.js";
export { type MeasuredNight, measureNight, type NightRequest, type TriagedNight, triageNight } from "./night.js";
export { cardSpace } from "./plan/card-space.js";
export { depthReached, type FilterDepth, noiseFall, stackLimits } from "./plan/depth.js";
export { forecast } from "./plan/forecast.js";
export { longerSubs } from "./plan/longer-subs.js";
export { type NoiseModel, noiseModels } from "./plan/noise-model.js";
export { type Remaining, remainingOf } from "./plan/remaining.js";
export { subLengthAdvice } from "./plan/sub-length.js";
export { comingNights, type NightWindow } from "./plan/windows.js";
export { type ExposureFacts, exposureFacts, type Given, type GivenValues } from "./read/exposure-facts.js";
export { type ByteSource, memoryBytes, openFile } from "./read/file-bytes.js";
export { type FitsFile, firstImage, type Hdu, openFits, openPixels } from "./read/hdu.js";
export type { PixelArray, PixelReader } from "./read/pixels.js";
export { parseSiteFile } from "./read/site-file.js";
export { nightSummary } from "./show/night-summary.js";
export { reportHtml } from "./show/report.js";
export { summaryJson } from "./show/summary-json.js";
export { describeScenario, parseScenario, type Scenario } from "./simulate/scenario.js";
export { type SimulatedFile, type SimulateOptions, simulateNight } from "./simulate/simulate-night.js";
export { findObject } from "./sky/find-object.js";
export { placeInSky, type SkyPlace } from "./sky/place-in-sky.js";
export type { Site, Target } from "./sky/site.js";
export { skyColumn } from "./sky/sky-column.js";
export { type SunEvents, sunEvents } from "./sky/twilight.js";
export { type CauseCode, causeCodes, causeRegistry } from "./terms/causes.js";
export { readEcsv, writeEcsv } from "./terms/ecsv.js";
export { CallError, CannotError, FitsError, isExplained } from "./terms/errors.js";
export {
  columnNames,
  columnRegistry,
  type FrameRow,
  type FrameTable,
  frameRow,
  frameTable,
  fromRows,
  selectRows,
  withColumns,
} from "./terms/frame-table.js";
export { writeParquet } from "./terms/parquet.js";
export { type Symptom, type SymptomCode, symptomCodes, symptomRegistry } from "./terms/symptoms.js";
export { type Verdict, verdicts } from "./terms/verdicts.js";
