/**
 * Distances in bytes as types: 8 (|A| << |B|), |T| the size of T.
 *
 * The offset of a load or store costs nothing when it is a constant of the instruction, and an instruction when it is a variable. Constants have to
 * be known where a generic is compiled, and sizes of types are the only numbers that its parameters can carry. No source: common practice.
 */

// @ts-ignore: decorator
@inline
export function bytes<A, B>(): usize {
  return (sizeof<A>() << sizeof<B>()) * 8;
}
