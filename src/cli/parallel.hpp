// Runs `work(i)` for every i below `count` on `jobs` threads. Results are kept
// by index, so their order does not depend on the number of jobs.
#ifndef DRYSHAFT_CLI_PARALLEL_HPP
#define DRYSHAFT_CLI_PARALLEL_HPP

#include <atomic>
#include <cstddef>
#include <thread>
#include <vector>

namespace dryshaft::cli {

template <typename Work>
void in_parallel(std::size_t count, unsigned jobs, const Work& work) {
  if (jobs <= 1 || count < 2) {
    for (std::size_t i = 0; i < count; ++i) {
      work(i);
    }
    return;
  }
  std::atomic<std::size_t> next{0};
  const auto loop = [&] {
    for (std::size_t i = next++; i < count; i = next++) {
      work(i);
    }
  };
  std::vector<std::jthread> threads;
  for (unsigned t = 1; t < jobs; ++t) {
    threads.emplace_back(loop);
  }
  loop();
}

}  // namespace dryshaft::cli

#endif
