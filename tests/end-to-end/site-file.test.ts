// A site file as a user writes one: what is taken, and what a mistake is answered with (file, key, what was found, remedy).
import { describe, expect, it } from "vitest";
import { parseSiteFile } from "../../src/read/site-file.js";
import { CallError } from "../../src/terms/errors.js";

const read = (object: unknown) => parseSiteFile(JSON.stringify(object), "garden.json");

describe("site file", () => {
  it("takes numbers, and angles as text", () => {
    const garden = {
      name: "Garden",
      latitudeDeg: "48 12 00",
      longitudeDeg: "-00 30 00",
      heightM: 200,
      target: "M 27 ",
    };
    expect(read(garden)).toEqual({
      name: "Garden",
      latitudeDeg: 48.2,
      longitudeDeg: -0.5,
      heightM: 200,
      target: "M 27",
    });
    // 20 h 34 min 52 s x 15.
    expect(read({ raDeg: "20h 34m 52s", decDeg: "60 09 14" }).raDeg).toBeCloseTo(308.7166667, 6);
    expect(read({ raDeg: "308d 43m", decDeg: 60.15 }).raDeg).toBeCloseTo(308.7166667, 6);
    expect(read({})).toEqual({});
  });

  it.each([
    ["not JSON", "{latitudeDeg: 48}", "it is not JSON"],
    ["no object", "[48, 16]", 'like {"latitudeDeg"'],
    ["unknown key", '{"lattitudeDeg": 48}', "the key 'lattitudeDeg' is not known. Keys: name, latitudeDeg"],
    ["inherited name", '{"constructor": 1}', "the key 'constructor' is not known"],
    ["out of range", '{"latitudeDeg": 482, "longitudeDeg": 16}', "latitudeDeg is 482, expected degrees from -90 to 90"],
    ["hours for degrees", '{"latitudeDeg": "3h 12m", "longitudeDeg": 16}', 'latitudeDeg is "3h 12m"'],
    ["half a site", '{"latitudeDeg": 48}', "latitudeDeg and longitudeDeg belong together"],
    ["hours or degrees", '{"raDeg": "20 34 52", "decDeg": 60}', 'write "20h 34m 52s"'],
    ["text for number", '{"heightM": "200"}', 'heightM is "200", expected a number'],
    ["null", '{"exposureS": null}', "exposureS is null"],
    ["mosaic", '{"bayer": "RGB"}', "expected RGGB, BGGR, GRBG or GBRG"],
    ["longitude", '{"headerLongitude": "west"}', "expected east-positive or west-positive"],
  ])("%s", (_, text, problem) => {
    const call = () => parseSiteFile(text, "garden.json");
    expect(call).toThrow(CallError);
    expect(call).toThrow(/^Cannot read the site file garden\.json: /);
    expect(call).toThrow(problem);
  });
});
