#include "record/look.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <span>

namespace dryshaft {
namespace {

constexpr double kRefractometerUnique = 60;  // % glycol; the freezing point rises again above

template <typename Named>
void drop_harmless(std::optional<Named>& named, bool& dropped) {
  if (named && level_of(*named) == 0) {
    named.reset();
    dropped = true;
  }
}

class PortReader {
 public:
  explicit PortReader(const Record& r) : r_(r), glycol_(r.at(Field::port_glycol_percent)) {}

  PortLook read() {
    look_.fluid = named<Fluid>(Field::port_fluid, Finding::port_fluid);
    look_.kind = named<FluidKind>(Field::port_fluid_kind, Finding::port_fluid_kind);
    amount();
    kind();
    look_.residue = named_level<Presence>(level_of_flag(r_, Field::port_dried_residue));
    look_.rust = named<Rust>(Field::port_corrosion, Finding::port_rust);
    look_.debris = named<Debris>(Field::port_debris, Finding::port_debris);
    checked();
    return std::move(look_);
  }

 private:
  template <typename Named>
  [[nodiscard]] std::optional<Named> named(Field field, Finding finding) const {
    return named_level<Named>(level_of_choice(r_, field, finding));
  }
  [[nodiscard]] bool holds_glycol() const { return glycol_.observed && glycol_.number > 0; }

  // What has a kind is there, be it a film.
  void amount() {
    if (!look_.kind && !holds_glycol()) {
      return;
    }
    if (look_.fluid == Fluid::none) {
      look_.contradictions.emplace_back(holds_glycol() ? "glycol-without-fluid"
                                                       : "kind-without-fluid");
      look_.fluid = Fluid::film;
    } else if (!look_.fluid) {
      look_.fluid = Fluid::film;
      look_.warnings.emplace_back(
          "the amount of liquid at the port is not on record: a film is assumed");
    }
  }

  void kind() {
    if (holds_glycol()) {
      if (look_.kind == FluidKind::gear_oil || look_.kind == FluidKind::water) {
        look_.contradictions.emplace_back("glycol-against-kind");
      }
      look_.kind = FluidKind::coolant;
      look_.kind_detail = fmt::format("{} % glycol by refractometer", glycol_.number);
    } else if (look_.kind == FluidKind::coolant && glycol_.observed) {
      look_.contradictions.emplace_back("glycol-against-kind");
    }
    if (glycol_.observed && glycol_.number > kRefractometerUnique) {
      look_.warnings.emplace_back(
          "a refractometer reading above 60 % is not unique: the freezing point of glycol and "
          "water rises again from there");
    }
    if (look_.kind == FluidKind::water && !glycol_.observed) {
      look_.kind.reset();
      look_.warnings.emplace_back(
          "clear water was not confirmed by refractometer, so the liquid counts as unknown");
    }
  }

  void checked() {
    const bool checked = is_true(r_, Field::port_checked);
    look_.made = checked && look_.fluid;
    if (checked) {
      if (!look_.fluid) {
        look_.warnings.emplace_back(
            "the port was checked, but whether it was dry is not on record");
      }
      return;
    }
    bool dropped = false;
    drop_harmless(look_.fluid, dropped);
    drop_harmless(look_.residue, dropped);
    drop_harmless(look_.rust, dropped);
    drop_harmless(look_.debris, dropped);
    if (dropped) {
      look_.warnings.emplace_back(
          "the record does not say that the port was checked, so what it calls dry or clean "
          "there is not used");
    }
  }

  const Record& r_;
  const Value& glycol_;
  PortLook look_;
};

}  // namespace

int month_of(int day) {
  const std::chrono::year_month_day date{std::chrono::sys_days{std::chrono::days{day}}};
  return static_cast<int>(date.year()) * 12 +
         static_cast<int>(static_cast<unsigned>(date.month())) - 1;
}

bool is_true(const Record& r, Field flag) { return r.has(flag) && r.at(flag).code != 0; }

int level_of_flag(const Record& r, Field flag) {
  return r.has(flag) ? static_cast<int>(r.at(flag).code) : -1;
}

int level_of_choice(const Record& r, Field field, Finding finding) {
  const Value& v = r.at(field);
  if (!v.observed) {
    return -1;
  }
  const std::string_view word = spec(field).choices[v.code].id;
  const std::span<const Choice> levels = spec(finding).levels;
  const auto found = std::ranges::find(levels, word, &Choice::id);
  return found == levels.end() ? -1 : static_cast<int>(found - levels.begin());
}

PortLook look_at_port(const Record& r) { return PortReader(r).read(); }

}  // namespace dryshaft
