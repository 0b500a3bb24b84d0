// Ticks of logarithmic axes.

/** Round numbers within a stretch, about `most` of them: 1, 2 or 5 times a power of ten apart. */
function roundTicks(from: number, to: number, most: number): number[] {
  const rough = (to - from) / Math.max(1, most);
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = power * ([1, 2, 5].find((each) => each * power >= rough * 0.999) ?? 10);
  const ticks: number[] = [];
  for (let k = Math.ceil(from / step - 1e-9); k * step <= to + 1e-9 * step; ++k) ticks.push(Number((k * step).toPrecision(12)));
  return ticks;
}

/** About `most` ticks of a logarithmic axis: 1, 2 and 5 of each decade, tens alone where these are too many; within less
 *  than a decade evenly apart, as so few of the former lie in it. */
export function logTicks(from: number, to: number, most: number): number[] {
  if (to / from < 8) return roundTicks(from, to, most);
  const of = (digits: number[]) => {
    const ticks: number[] = [];
    for (let power = Math.floor(Math.log10(from)); power <= Math.ceil(Math.log10(to)); ++power) {
      ticks.push(...digits.map((digit) => Number((digit * 10 ** power).toPrecision(3))).filter((tick) => tick >= from && tick <= to));
    }
    return ticks;
  };
  const fine = of([1, 2, 5]);
  return fine.length <= 1.5 * most ? fine : of([1]);
}
