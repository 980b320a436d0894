#include "cli/parallel.hpp"

#include <catch2/catch.hpp>
#include <stdexcept>
#include <string>

using dryshaft::cli::in_parallel;

TEST_CASE("every piece of work is done once, on however many threads") {
  for (const unsigned jobs : {0U, 1U, 2U, 7U, 256U}) {
    std::vector<int> done(100);
    in_parallel(done.size(), jobs, [&](std::size_t i) { ++done[i]; });
    CHECK(done == std::vector<int>(100, 1));
  }
}

TEST_CASE("what work throws reaches who asked for it, and ends the rest early") {
  for (const unsigned jobs : {1U, 4U}) {
    constexpr std::size_t kMany = 10'000'000;
    std::atomic<std::size_t> done{0};
    CHECK_THROWS_WITH(in_parallel(kMany, jobs,
                                  [&](std::size_t i) {
                                    ++done;
                                    if (i == 10) {
                                      throw std::runtime_error("no more");
                                    }
                                  }),
                      "no more");
    CHECK(done < kMany);
  }
}
