// What happens where a caller breaks a promise, which is a bug.
#ifndef DRYSHAFT_BASE_PROMISE_HPP
#define DRYSHAFT_BASE_PROMISE_HPP

#include <string>

namespace dryshaft {

// Throws `Error`; where code is built without exceptions, as in a page, whatever runs ends there.
template <typename Error>
[[noreturn]] void broken_promise([[maybe_unused]] const std::string& what) {
#ifdef __cpp_exceptions
  throw Error(what);
#else
  __builtin_trap();
#endif
}

}  // namespace dryshaft

#endif
