// Runs `work(i)` for every i below `count` on `jobs` threads, or as many as can be had. Results are
// kept by index, so their order does not depend on the number of jobs. What one throws ends the
// rest early and is thrown again here.
#ifndef DRYSHAFT_CLI_PARALLEL_HPP
#define DRYSHAFT_CLI_PARALLEL_HPP

#include <algorithm>
#include <atomic>
#include <cstddef>
#include <exception>
#include <mutex>
#include <system_error>
#include <thread>
#include <vector>

namespace dryshaft::cli {

template <typename Work>
void in_parallel(std::size_t count, unsigned jobs, const Work& work) {
  std::atomic<std::size_t> next{0};
  std::mutex one_at_a_time;
  std::exception_ptr thrown;
  const auto loop = [&] {
    try {
      for (std::size_t i = next++; i < count; i = next++) {
        work(i);
      }
    } catch (...) {
      next = count;
      const std::scoped_lock lock(one_at_a_time);
      thrown = thrown ? thrown : std::current_exception();
    }
  };
  {
    std::vector<std::jthread> threads;
    try {
      for (std::size_t t = 1; t < std::min<std::size_t>(jobs, count); ++t) {
        threads.emplace_back(loop);
      }
    } catch (const std::system_error&) {
      // No more threads to be had: those that run do it all.
    }
    loop();
  }
  if (thrown) {
    std::rethrow_exception(thrown);
  }
}

}  // namespace dryshaft::cli

#endif
