/** Air: speed of sound and absorption. */

/**
 * Speed of sound in m/s at temperatureC: 343.2 m/s at 20 degrees C, scaled with the root of the absolute temperature
 * (the form of ISO 9613-1; humidity changes it by at most 0.4 % at 20 degrees C and is left out).
 */
export function computeSoundSpeed(temperatureC: number): number {
  return 343.2 * Math.sqrt((temperatureC + 273.15) / 293.15);
}

/**
 * Pure-tone attenuation by air in dB per metre, ISO 9613-1:1993 equations (3) to (5), humidity after its Annex B.
 * @param pressureKpa ambient pressure, 101.325 where unknown
 */
export function computeAirAbsorption(freqHz: number, temperatureC: number, humidityPct: number, pressureKpa = 101.325): number {
  const kelvin = temperatureC + 273.15;
  const pressureRatio = pressureKpa / 101.325;
  const saturation = Math.pow(10, -6.8346 * Math.pow(273.16 / kelvin, 1.261) + 4.6151);
  const humidity = (humidityPct * saturation) / pressureRatio;
  const tempRatio = kelvin / 293.15;
  const oxygenHz = pressureRatio * (24 + (4.04e4 * humidity * (0.02 + humidity)) / (0.391 + humidity));
  const nitrogenHz = pressureRatio * Math.pow(tempRatio, -0.5) * (9 + 280 * humidity * Math.exp(-4.17 * (Math.pow(tempRatio, -1 / 3) - 1)));
  const f2 = freqHz * freqHz;
  const relaxation = (0.01275 * Math.exp(-2239.1 / kelvin)) / (oxygenHz + f2 / oxygenHz)
    + (0.1068 * Math.exp(-3352 / kelvin)) / (nitrogenHz + f2 / nitrogenHz);
  return 8.686 * f2 * ((1.84e-11 / pressureRatio) * Math.sqrt(tempRatio) + Math.pow(tempRatio, -2.5) * relaxation);
}
