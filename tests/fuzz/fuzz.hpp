// A fuzz target is written once: `FUZZ_TARGET(records) { ... text ... }`. With DRYSHAFT_FUZZ it is
// libFuzzer's; else it joins the program that replays tests/corpus/records.
#ifndef DRYSHAFT_TESTS_FUZZ_HPP
#define DRYSHAFT_TESTS_FUZZ_HPP

#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "base/utf8.hpp"
#include "dryshaft/diagnostic.hpp"

namespace dryshaft::fuzz {

using Target = void (*)(std::string_view text);
inline std::map<std::string, Target>& targets() {
  static std::map<std::string, Target> all;
  return all;
}
struct Registered {
  Registered(const char* name, Target target) { targets().emplace(name, target); }
};

inline void require(bool holds, const char* what) {
  if (!holds) {
    std::fprintf(stderr, "does not hold: %s\n", what);
    std::abort();
  }
}

// What holds for every text that goes to a terminal.
inline void check_text(std::string_view text) {
  require(utf8::first_invalid(text) == text.size(), "a text is UTF-8");
  for (std::size_t at = 0; at < text.size();) {
    const utf8::Character c = utf8::decode(text, at);
    require(c.code == '\n' || !utf8::steers_terminal(c.code), "a text steers no terminal");
    at += c.length;
  }
}

// What holds for every complaint, whatever the input.
inline void check(const std::vector<Diagnostic>& diagnostics) {
  for (const Diagnostic& d : diagnostics) {
    require(!d.code.empty(), "a complaint has a code");
    require(!d.message.empty(), "a complaint says something");
    require(d.column == 0 || d.line != 0, "a column has a line");
    check_text(to_text(d));
  }
}
template <typename Value>
void check(const Result<Value>& result) {
  check(result.diagnostics);
  require(result.value.has_value() || result.has_errors(), "no value, no word");
}

}  // namespace dryshaft::fuzz

#ifdef DRYSHAFT_FUZZ
#define FUZZ_TARGET(name)                                                          \
  static void fuzz_##name(std::string_view text);                                  \
  extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t n);  \
  extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t n) { \
    fuzz_##name({reinterpret_cast<const char*>(data), n});                         \
    return 0;                                                                      \
  }                                                                                \
  static void fuzz_##name(std::string_view text)
#else
#define FUZZ_TARGET(name)                                                                   \
  static void fuzz_##name(std::string_view text);                                           \
  static const dryshaft::fuzz::Registered registered_##name(#name, fuzz_##name); /*NOLINT*/ \
  static void fuzz_##name(std::string_view text)
#endif

#endif
