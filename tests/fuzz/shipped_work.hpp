// The shipped work data.
#ifndef DRYSHAFT_TESTS_FUZZ_SHIPPED_WORK_HPP
#define DRYSHAFT_TESTS_FUZZ_SHIPPED_WORK_HPP

#include "dryshaft/plan.hpp"
#include "support.hpp"

namespace dryshaft::fuzz {

inline const std::vector<NamedText>& work_files() {
  static const std::vector<NamedText> kFiles =
      test::read_folder(std::filesystem::path(DRYSHAFT_DATA_DIR) / "work");
  return kFiles;
}
inline const WorkRules& shipped_work() {
  static const WorkRules kWork = *load_work(work_files(), test::shipped()).value;
  return kWork;
}

}  // namespace dryshaft::fuzz

#endif
