// A sound file, opened, looked through, and ready to be listened to.
#ifndef DRYSHAFT_CLI_RECORDING_HPP
#define DRYSHAFT_CLI_RECORDING_HPP

#include <cstddef>
#include <string>
#include <vector>

#include "dryshaft/noise_input.hpp"

namespace dryshaft::cli {

struct OpenedRecording {
  Recording recording;
  double seconds = 0;
  std::size_t channel = 1;  // counted from 1
  std::size_t channels = 1;
  std::vector<std::string> limits;
  bool repeats = false;  // exactly, as no machine does
};

// WAV, FLAC or OGG. Reads it once from end to end, in flat memory: what its
// header promises is not taken on trust. `channel` 0: the first that is alive.
Result<OpenedRecording> open_recording(const std::string& path, std::size_t channel);

}  // namespace dryshaft::cli

#endif
