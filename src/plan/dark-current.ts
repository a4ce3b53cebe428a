/** Boltzmann's constant in eV/K (SI, exact to the digits given) and the band gap of silicon in eV. */
const boltzmannEv = 8.617333e-5;
const bandGapEv = 1.12;
const zeroC = 273.15;

/** Dark current at another temperature by the rule that it doubles every so many degrees. */
export const darkByDoubling = (rate: number, fromC: number, toC: number, doublingC = 6.3): number =>
  rate * 2 ** ((toC - fromC) / doublingC);

/**
 * Dark current at another temperature as T^1.5 exp(-Eg / 2kT): the form commonly given for silicon sensors
 * (attributed to
 * Janesick; from memory).
 */
export function darkOfSilicon(rate: number, fromC: number, toC: number): number {
  const [from, to] = [fromC + zeroC, toC + zeroC];
  return rate * (to / from) ** 1.5 * Math.exp((bandGapEv / (2 * boltzmannEv)) * (1 / from - 1 / to));
}
