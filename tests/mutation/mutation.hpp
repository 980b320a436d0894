// Included before every source of a mutated build: which mutant is alive, and the operators that
// mutants change. Mutant 0, or none: everything as written.
#ifndef DRYSHAFT_TESTS_MUTATION_HPP
#define DRYSHAFT_TESTS_MUTATION_HPP

#include <cstdlib>
#include <type_traits>

namespace mutation {

inline const int alive = [] {
  const char* text = std::getenv("DRYSHAFT_MUTANT");
  return text == nullptr ? 0 : std::atoi(text);
}();

// Whether mutant `id` is alive. What is worked out by the compiler is never mutated.
constexpr bool is(int id) {
  if (std::is_constant_evaluated()) {
    return false;
  }
  return alive == id;
}

#define DRYSHAFT_MUTABLE(name, written, first, second)      \
  template <typename A, typename B>                         \
  constexpr auto name(int id, const A& a, const B& b) {     \
    using Result = std::decay_t<decltype(a written b)>;     \
    return is(id)       ? static_cast<Result>(a first b)    \
           : is(id + 1) ? static_cast<Result>(a second b)   \
                        : static_cast<Result>(a written b); \
  }
DRYSHAFT_MUTABLE(less, <, <=, >=)
DRYSHAFT_MUTABLE(less_equal, <=, <, >)
DRYSHAFT_MUTABLE(greater, >, >=, <=)
DRYSHAFT_MUTABLE(greater_equal, >=, >, <)
#undef DRYSHAFT_MUTABLE

#define DRYSHAFT_MUTABLE(name, written, other)                                         \
  template <typename A, typename B>                                                    \
  constexpr auto name(int id, const A& a, const B& b) {                                \
    using Result = std::decay_t<decltype(a written b)>;                                \
    return is(id) ? static_cast<Result>(a other b) : static_cast<Result>(a written b); \
  }
DRYSHAFT_MUTABLE(equal, ==, !=)
DRYSHAFT_MUTABLE(unequal, !=, ==)
DRYSHAFT_MUTABLE(minus, -, +)
DRYSHAFT_MUTABLE(times, *, +)
DRYSHAFT_MUTABLE(over, /, *)
#undef DRYSHAFT_MUTABLE

// A condition: turned round, always, never.
constexpr bool condition(int id, bool value) {
  return is(id) ? !value : is(id + 1) ? true : is(id + 2) ? false : value;
}
template <typename T>
constexpr T number(int id, T value) {
  return is(id) ? static_cast<T>(value + 1) : value;
}
// Whether a statement is carried out.
constexpr bool keep(int id) { return !is(id); }

}  // namespace mutation

#endif
