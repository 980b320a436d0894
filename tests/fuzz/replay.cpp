// Replays every target's corpus: replay CORPUS, where CORPUS/records holds inputs of `records`.
#include <algorithm>
#include <filesystem>

#include "fuzz/fuzz.hpp"
#include "support.hpp"

int main(int argc, char** argv) {
  namespace fs = std::filesystem;
  using dryshaft::fuzz::targets;
  if (argc != 2) {
    return 2;
  }
  for (const auto& [name, target] : targets()) {
    std::vector<fs::path> inputs;
    for (const auto& entry : fs::directory_iterator(fs::path(argv[1]) / name)) {
      inputs.push_back(entry.path());
    }
    if (inputs.empty()) {
      std::fprintf(stderr, "no corpus of %s\n", name.c_str());
      return 1;
    }
    std::ranges::sort(inputs);
    for (const fs::path& input : inputs) {
      std::fprintf(stderr, "%s\n", input.c_str());  // the last one is to blame
      target(dryshaft::test::read_file(input));
    }
    std::printf("%s: %zu inputs\n", name.c_str(), inputs.size());
  }
  return 0;
}
