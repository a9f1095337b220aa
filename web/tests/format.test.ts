import { describe, expect, it } from "vitest";
import { direction, len, measured, minutes, num, plural, sig } from "../src/format";

describe("numbers", () => {
  it("says what isn't known", () => {
    expect(num(null)).toBe("unknown");
    expect(sig(undefined)).toBe("unknown");
    expect(num(Number.NaN)).toBe("unknown");
  });
  it("groups thousands and never writes a negative zero", () => {
    expect(num(1234567.891)).toBe("1\u202f234\u202f567.89");
    expect(num(-0.001)).toBe("0.00");
    expect(num(-12.3, 1)).toBe("−12.3");
    expect(num(9140, 0)).toBe("9140");
  });
  it("keeps the digits that matter", () => {
    expect(sig(123.4)).toBe("123");
    expect(sig(12.34)).toBe("12.3");
    expect(sig(1.2)).toBe("1.2");
    expect(sig(0.0123)).toBe("0.012");
    expect(sig(100)).toBe("100");
  });
  it("names axes", () => {
    expect(direction([0, 0, -1])).toBe("−z");
    expect(direction([0.6, 0, 0.8])).toBe("(0.60, 0.00, 0.80)");
  });
  it("speaks of time as people do", () => {
    expect(minutes(75)).toBe("75 s");
    expect(minutes(600)).toBe("10 min");
    expect(minutes(601)).toBe("10 min 1 s");
    expect(plural(1, "set")).toBe("1 set");
  });
  it("gives lengths their unit and factors none", () => {
    expect(len(1.2236)).toBe("1.22 mm");
    expect(measured(2.577, "factor")).toBe("2.58");
    expect(measured(15, "kg")).toBe("15 kg");
  });
});
