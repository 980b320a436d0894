// Headers of sound files, through the program's own reader.
#include <sys/mman.h>
#include <unistd.h>

#include <cmath>
#include <vector>

#include "cli/recording.hpp"
#include "fuzz/fuzz.hpp"

FUZZ_TARGET(sound) {
  static const int kFile = memfd_create("sound", 0);
  static const std::string kPath = "/proc/self/fd/" + std::to_string(kFile);
  dryshaft::fuzz::require(ftruncate(kFile, 0) == 0 && pwrite(kFile, text.data(), text.size(), 0) ==
                                                          static_cast<ssize_t>(text.size()),
                          "the input is written");
  auto opened = dryshaft::cli::open_recording(kPath, 0);
  dryshaft::fuzz::check(opened.diagnostics);
  dryshaft::fuzz::require(opened.value.has_value() || opened.has_errors(), "no sound, no word");
  if (opened.value) {
    dryshaft::fuzz::require(std::isfinite(opened.value->seconds) && opened.value->seconds > 0,
                            "a recording lasts");
  }
}
