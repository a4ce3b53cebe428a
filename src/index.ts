/**
 * Every public name of nightyield. Notebooks and programs import from here. The verbs of an analysis are few:
 * - a night: {@link triageNight} measures and grades folders of subs, {@link openNight} also reads what triage has written;
 * - its subs: {@link framesOf} to filter, group and count them, {@link tableOf} to show what came of it;
 * - to look at: {@link charts}, {@link picturesOf};
 * - what they are worth: {@link gradeNight} for another purpose or limit, {@link frontier} for other cuts;
 * - why: {@link explainNight} (causes, episodes, drivers, advice);
 * - what next: {@link depthReached}, {@link remainingOf}, {@link subLengthAdvice}, {@link filterAdvice};
 * - for others: {@link reportHtml}, {@link writeLists}, {@link makeBundle} and {@link verifyBundle};
 * - nights with known truth: {@link simulateNight}, {@link triageSimulated}.
 * Everything else is a part of these.
 */
export { applyVerdicts, resumeApply } from "./act/apply.js";
export { applyDecisions, type Decision, readDecisions } from "./act/decisions.js";
export { makeLists, stackWeights } from "./act/lists.js";
export { markSubs } from "./act/mark.js";
export { readNight, writeLists } from "./act/night-files.js";
export { undoApply } from "./act/undo.js";
export { adviceOf } from "./explain/advice.js";
export type { Advice } from "./explain/advice-terms.js";
export { causesOf } from "./explain/causes.js";
export type { NightCauses, SubCause } from "./explain/causes-terms.js";
export { driversOf } from "./explain/drivers.js";
export type { Drivers } from "./explain/drivers-terms.js";
export { costsOf, type Episode, episodesOf } from "./explain/episodes.js";
export { type Explanation, explainNight } from "./explain/explain-night.js";
export { type SensorReport, sensorOf } from "./explain/sensor.js";
export { type Frontier, frontier, frontierSummary, type TellingStack } from "./grade/frontier.js";
export { type Gains, type GradedNight, type GradeOptions, gradeNight } from "./grade/grade-night.js";
export type { GroupSummary } from "./grade/group-summary.js";
export { type Group, groupsOf } from "./grade/groups.js";
export { defaultLimits, type Limits } from "./grade/limits.js";
export { limitsFor, type Purpose, purposeRegistry, purposes } from "./grade/purposes.js";
export { type WhatIf, whatIf } from "./grade/what-if.js";
export { charts } from "./library/charts.js";
export { type FrameGroup, FrameGroups } from "./library/frame-groups.js";
export { Frames, framesOf } from "./library/frames.js";
export { picturesOf } from "./library/pictures.js";
export { type Row, Table, tableOf } from "./library/plain-table.js";
export { type FrameMeasurement, type MeasureOptions, measureFrame } from "./measure/measure-frame.js";
export { measuringVersion } from "./measure/measuring-version.js";
export { type PairNoise, pairNoise } from "./measure/pair-noise.js";
export { type MeasuredNight, measureNight, type NightRequest, type TriagedNight, triageNight } from "./night.js";
export type { Notebook } from "./notebook/notebook-shape.js";
export { exportNotebook, makeBundle, runNotebook, verifyBundle } from "./notebook/notebook-verbs.js";
export { openNight } from "./notebook/open-night.js";
export { readNotebook } from "./notebook/read-notebook.js";
export { type SimulatedNight, triageSimulated } from "./notebook/simulated-night.js";
export { writeNotebook } from "./notebook/write-notebook.js";
export { type AlignmentStars, alignmentStars } from "./plan/alignment-stars.js";
export { iCalendar } from "./plan/calendar.js";
export { gainByFlats, readNoiseInElectrons, type WithError } from "./plan/calibration-noise.js";
export { cardSpace } from "./plan/card-space.js";
export {
  type CatalogueZeroPoint,
  type KnownStar,
  parseKnownStars,
  zeroPointFrom,
} from "./plan/catalogue-zero-point.js";
export { combineTables } from "./plan/combine.js";
export { type CountSlope, countSlope } from "./plan/count-slope.js";
export { depthReached, type FilterDepth, noiseFall, stackLimits } from "./plan/depth.js";
export { type FilterAdvice, filterAdvice } from "./plan/filter-advice.js";
export { forecast } from "./plan/forecast.js";
export { type Goal, goalSeconds } from "./plan/goal.js";
export type { GroupSetup } from "./plan/group-setup.js";
export { type LikeScale, likeScale } from "./plan/like-scale.js";
export { type LongerSubs, longerSubs } from "./plan/longer-subs.js";
export { lossRate } from "./plan/losses.js";
export { mountKind } from "./plan/mount.js";
export { type NightLog, nightLogs } from "./plan/night-log.js";
export { nightsOf, overheadOf } from "./plan/nights.js";
export { type NoiseModel, noiseModels } from "./plan/noise-model.js";
export { type DarkReadNoise, readNoiseOfDarks } from "./plan/read-noise-of-darks.js";
export { type Remaining, remainingOf } from "./plan/remaining.js";
export { subLengthAdvice } from "./plan/sub-length.js";
export { comingNights, type NightWindow } from "./plan/windows.js";
export { type ExposureFacts, exposureFacts, type Given, type GivenValues } from "./read/exposure-facts.js";
export { type ByteSource, memoryBytes, openFile } from "./read/file-bytes.js";
export { type FitsFile, firstImage, type Hdu, openFits, openPixels } from "./read/hdu.js";
export type { PixelArray, PixelReader } from "./read/pixels.js";
export { parseSiteFile } from "./read/site-file.js";
export { blinkPicture } from "./show/blink.js";
export { calendarFigure, calendarTable } from "./show/calendar-chart.js";
export { type CauseRow, causeRows } from "./show/causes-words.js";
export { type Chart, chart } from "./show/chart.js";
export { quantitiesTable, timelineTable } from "./show/chart-tables.js";
export { type Figure, quantitiesFigure, timelineFigure } from "./show/charts.js";
export { contactSheet } from "./show/contact-sheet.js";
export { stackDepthFigure, stackDepthTable } from "./show/depth-chart.js";
export { effectsFigure, effectsTable, rejectRatesFigure, rejectRatesTable } from "./show/driver-charts.js";
export { episodesFigure, episodesTable } from "./show/episode-chart.js";
export { alignmentText, filterAdviceText } from "./show/filter-words.js";
export { type FramePicture, framePicture } from "./show/frame-picture.js";
export { frontierFigure, frontierTable } from "./show/frontier-chart.js";
export { nightSummary } from "./show/night-summary.js";
export { nightLogText, remainingText } from "./show/plan-words.js";
export { reportHtml } from "./show/report.js";
export { longerSubsFigure, longerSubsTable, subLengthFigure, subLengthTable } from "./show/sub-length-chart.js";
export { summaryJson } from "./show/summary-json.js";
export { nextTimeLines, whyLines } from "./show/why.js";
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
