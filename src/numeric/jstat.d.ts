/** The part of jStat that is used here; the package brings no types. */
declare module 'jstat' {
  interface Distribution { cdf(x: number, dof: number): number; inv(p: number, dof: number): number }
  const library: { jStat: { chisquare: Distribution; studentt: Distribution } };
  export = library;
}
