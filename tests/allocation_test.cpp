// The hot loop allocates nothing: every allocation of this program is counted.
#include <catch2/catch.hpp>
#include <cstdlib>
#include <new>

#include "support.hpp"

namespace {
std::size_t allocations = 0;
}

// The form that does not throw too: the library's sorts ask for memory with it.
void* operator new(std::size_t size, const std::nothrow_t& /*tag*/) noexcept {
  ++allocations;
  return std::malloc(size == 0 ? 1 : size);
}
void* operator new(std::size_t size) {
  if (void* memory = operator new(size, std::nothrow)) {
    return memory;
  }
  throw std::bad_alloc();
}
void operator delete(void* memory, const std::nothrow_t& /*tag*/) noexcept { std::free(memory); }
void operator delete(void* memory) noexcept { std::free(memory); }
void operator delete(void* memory, std::size_t) noexcept { std::free(memory); }

namespace dryshaft {
namespace {

TEST_CASE("inference and grading allocate nothing") {
  const Knowledge& k = test::shipped();
  const Model& model = test::shipped_model();
  Case c = empty_case();
  c.set(Finding::port_fluid, 2);
  c.set(Finding::noise, 1);
  c.set(Finding::noise_load, 1);
  const std::size_t before = allocations;
  double total = 0;
  for (int level = 0; level < 3; ++level) {
    c.set(Finding::port_rust, level);
    total += judge(k, model, c).posterior.risk;
    total += model.weigh(c)[0][0];
  }
  const std::size_t after = allocations;
  CHECK(after == before);
  CHECK(total > 0);
  // The count does count.
  const std::string text(1000, 'x');
  CHECK(allocations > after);
  CHECK(text.size() == 1000);
}

}  // namespace
}  // namespace dryshaft
