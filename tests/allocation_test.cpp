// The hot loop allocates nothing: every allocation of this program is counted.
#include <catch2/catch.hpp>
#include <cstdint>
#include <cstdlib>
#include <new>
#include <utility>

#include "support.hpp"

namespace {
std::size_t allocations = 0;
std::size_t allocated = 0;  // bytes
}  // namespace

// The form that does not throw too: the library's sorts ask for memory with it.
void* operator new(std::size_t size, const std::nothrow_t& /*tag*/) noexcept {
  ++allocations;
  allocated += size;
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

// What assessing a unit of so many inspections asks for, in bytes and in times.
std::pair<double, double> cost_of(std::size_t inspections, bool of_many_units) {
  History history{.unit_id = "n/a", .records = {}, .refused = {}};
  for (std::size_t i = 0; i < inspections; ++i) {
    Record r;
    r.unit_id = history.unit_id;
    const auto set = [&r](Field field, double number, std::uint16_t code = 0) {
      r.values[static_cast<std::size_t>(field)] = {
          .observed = true, .code = code, .number = number};
    };
    set(Field::date, 15000.0 + static_cast<double>(i / 4));
    set(Field::odometer_km, 100.0 * static_cast<double>(i));
    set(Field::noise_present, 0, static_cast<std::uint16_t>(i % 3 == 0 ? 1 : 0));
    set(Field::seal_renewed_odometer_km, 100.0 * static_cast<double>(i / 2));
    if (of_many_units) {
      set(Field::built, 2010 * 12.0 + static_cast<double>(i % 50));
    }
    history.records.push_back(std::move(r));
    history.refused.push_back(0);
  }
  const std::size_t bytes = allocated;
  const std::size_t times = allocations;
  const Report report = assess(history, test::shipped(), test::shipped_model(), {});
  CHECK(report.history.earlier.size() == 100);
  return {static_cast<double>(allocated - bytes), static_cast<double>(allocations - times)};
}

TEST_CASE("a unit of many inspections costs in proportion to their number") {
  for (const bool of_many_units : {false, true}) {
    const auto [bytes, times] = cost_of(1000, of_many_units);
    const auto [bytes_of_double, times_of_double] = cost_of(2000, of_many_units);
    // The newest hundred are each judged in the light of all before: of 950 on average, and 1950.
    CHECK(bytes_of_double < 2.2 * bytes);
    CHECK(times_of_double < 2.2 * times);
  }
}

}  // namespace
}  // namespace dryshaft
