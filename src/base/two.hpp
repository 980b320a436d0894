// Two neighbouring numbers at a time, as every 64-bit processor can. Left to itself the compiler
// takes short loops apart and ends up slower than one by one.
#ifndef DRYSHAFT_BASE_TWO_HPP
#define DRYSHAFT_BASE_TWO_HPP

#include <cstring>

namespace dryshaft {

using Two = double __attribute__((vector_size(16)));
inline Two load(const double* from) {
  Two two;
  std::memcpy(&two, from, sizeof two);
  return two;
}
inline void store(double* to, const Two& two) { std::memcpy(to, &two, sizeof two); }

}  // namespace dryshaft

#endif
