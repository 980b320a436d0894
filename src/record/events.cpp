#include "record/events.hpp"

#include <algorithm>
#include <iterator>
#include <limits>
#include <string_view>
#include <tuple>
#include <utility>

#include "record/identity.hpp"
#include "record/look.hpp"

namespace dryshaft {
namespace {

constexpr double kNoLimit = std::numeric_limits<double>::infinity();
constexpr int kAnyDay = std::numeric_limits<int>::max();

std::optional<double> reading_of(const Record& r) {
  return r.has(Field::odometer_km) ? std::optional(r.at(Field::odometer_km).number) : std::nullopt;
}

double or_else(const std::optional<double>& km, double otherwise) { return km.value_or(otherwise); }

// Of a look, which did nothing, any: compilers that do not see that work alone is sorted here warn
// of it.
const Work& work_of(const UnitEvent& e) {
  static const Work none;
  return e.work ? *e.work : none;
}

// All that work tells, so that equal keys are equal work, whoever tells of it.
auto details(const Work& w) {
  const auto number = [](const auto& told) { return told ? 1 + static_cast<int>(*told) : 0; };
  return std::tuple(number(w.material), number(w.keeps_crossover), number(w.by),
                    std::string_view(w.note));
}

// Where work was done by what its own record says.
UnitEvent placed(const Work& work, const Record& record, std::size_t index) {
  UnitEvent e{.work = work, .day = day_of(record), .km = reading_of(record), .record = index};
  const std::optional<double> here = e.km;
  if (work.odometer_km) {
    e.km = work.odometer_km;
  } else if (work.day && *work.day != *e.day) {
    e.km.reset();
  }
  if (work.day) {
    e.day = work.day;
  } else if (work.odometer_km && here && *work.odometer_km < *here) {
    e.day.reset();
  }
  return e;
}

// Of one detail that two records tell.
template <typename T>
void agree_on(std::optional<T>& told, const std::optional<T>& other, bool& disagrees) {
  if (told && other && *told != *other) {
    told.reset();
    disagrees = true;
  } else if (!told && !disagrees) {
    told = other;
  }
}

void merge_into(UnitEvent& e, const UnitEvent& other) {
  bool material = e.disagrees || other.disagrees;
  bool crossover = material;
  agree_on(e.work->material, other.work->material, material);
  agree_on(e.work->keeps_crossover, other.work->keeps_crossover, crossover);
  e.disagrees = material || crossover;
  e.work->by = e.work->by ? e.work->by : other.work->by;
  e.work->note = e.work->note.empty() ? other.work->note : e.work->note;
  e.record = std::min(e.record, other.record);
}

// Takes together neighbours that are the same work.
void once(std::vector<UnitEvent>& works, const auto& order, const auto& same) {
  std::ranges::stable_sort(works, {}, order);
  std::size_t kept = 0;
  for (std::size_t i = 1; i < works.size(); ++i) {
    if (same(works[kept], works[i])) {
      merge_into(works[kept], works[i]);
    } else if (++kept != i) {
      works[kept] = std::move(works[i]);
    }
  }
  works.resize(works.empty() ? 0 : kept + 1);
}

void count_once(std::vector<UnitEvent>& works) {
  once(
      works,
      [](const UnitEvent& e) {
        return std::tuple(work_of(e).did, or_else(e.km, -1), e.day.value_or(kAnyDay),
                          details(work_of(e)), e.record);
      },
      [](const UnitEvent& a, const UnitEvent& b) {
        return work_of(a).did == work_of(b).did && a.km == b.km &&
               (a.day == b.day || (a.km && !b.day));
      });
  once(
      works,
      [](const UnitEvent& e) {
        return std::tuple(work_of(e).did, e.day.value_or(kAnyDay), or_else(e.km, kNoLimit),
                          details(work_of(e)), e.record);
      },
      [](const UnitEvent& a, const UnitEvent& b) {
        return work_of(a).did == work_of(b).did && a.day && a.day == b.day && !b.km;
      });
}

// What has a day, and how it is ordered within: by `km`, which a look without a reading has from
// the one before it on its day, so that looks keep the order of their records.
struct Dated {
  UnitEvent event;
  double km;
};

std::vector<Dated> looks_of(std::span<const Record* const> records) {
  std::vector<Dated> looks;
  for (std::size_t i = 0; i < records.size(); ++i) {
    const int day = day_of(*records[i]);
    const std::optional<double> km = reading_of(*records[i]);
    const bool same_day = !looks.empty() && looks.back().event.day == day;
    const double least = same_day ? looks.back().km : -1;
    looks.push_back(
        {{.work = {}, .day = day, .km = km, .record = i}, std::max(or_else(km, -1), least)});
  }
  return looks;
}

// Whether the readings of the looks on days before and after allow the distance.
class Readings {
 public:
  explicit Readings(const std::vector<Dated>& looks) {
    double most = -1;
    for (const Dated& look : looks) {
      most = std::max(most, or_else(look.event.km, -1));
      days_.push_back(*look.event.day);
      most_.push_back(most);
    }
    least_.assign(looks.size() + 1, kNoLimit);
    for (std::size_t i = looks.size(); i-- > 0;) {
      least_[i] = std::min(least_[i + 1], or_else(looks[i].event.km, kNoLimit));
    }
  }

  [[nodiscard]] bool allow(int day, double km) const {
    const auto before = std::ranges::lower_bound(days_, day) - days_.begin();
    const auto after = std::ranges::upper_bound(days_, day) - days_.begin();
    const double most = before == 0 ? -1 : most_[static_cast<std::size_t>(before - 1)];
    return km >= most - kSameReadingKm &&
           km <= least_[static_cast<std::size_t>(after)] + kSameReadingKm;
  }

 private:
  std::vector<int> days_;
  std::vector<double> most_;   // reading up to each look
  std::vector<double> least_;  // reading from each look on
};

// Of what was done at one time, the unit that goes in comes first: nobody works on the one that is
// to come out.
auto order_of_work(const UnitEvent& e) {
  const Did did = work_of(e).did;
  return std::tuple(did != Did::unit_replaced, did);
}

auto order_of_dated(const Dated& d) {
  // Looks stand in the order of their records already; work comes after a look.
  const bool is_work = d.event.work.has_value();
  return std::tuple(*d.event.day, d.km, is_work, is_work ? std::size_t{0} : d.event.record,
                    order_of_work(d.event));
}

// Puts work of which only the distance is known after the last event with no greater reading;
// another unit that went in also after work of which only the day is known, for that may have been
// done to the one that came out.
std::vector<UnitEvent> merged(std::vector<Dated> dated, std::vector<UnitEvent> undated) {
  std::ranges::stable_sort(dated, {}, order_of_dated);
  std::ranges::stable_sort(undated, {},
                           [](const UnitEvent& e) { return std::tuple(*e.km, order_of_work(e)); });
  std::vector<double> least(dated.size());  // reading from here on
  double from_here = kNoLimit;
  for (std::size_t i = dated.size(); i-- > 0;) {
    from_here = std::min(from_here, or_else(dated[i].event.km, kNoLimit));
    least[i] = from_here;
  }
  std::vector<UnitEvent> all;
  all.reserve(dated.size() + undated.size());
  std::size_t next = 0;
  for (UnitEvent& e : undated) {
    const bool another = work_of(e).did == Did::unit_replaced;
    while (next < dated.size() &&
           (least[next] <= *e.km || (another && dated[next].event.work && !dated[next].event.km))) {
      all.push_back(std::move(dated[next++].event));
    }
    all.push_back(std::move(e));
  }
  std::ranges::transform(dated.begin() + static_cast<std::ptrdiff_t>(next), dated.end(),
                         std::back_inserter(all), [](Dated& d) { return std::move(d.event); });
  return all;
}

}  // namespace

UnitEvents unit_events(std::span<const Record* const> records) {
  UnitEvents out;
  std::vector<UnitEvent> works;
  for (std::size_t i = 0; i < records.size(); ++i) {
    for (const Work& work : records[i]->work) {
      std::vector<UnitEvent>& into = work.misplaced ? out.doubted : works;
      into.push_back(placed(work, *records[i], i));
    }
  }
  count_once(works);
  std::vector<Dated> dated = looks_of(records);
  const Readings readings(dated);
  std::vector<UnitEvent> undated;
  for (UnitEvent& e : works) {
    if (!e.day) {
      undated.push_back(std::move(e));
    } else if (e.km && !readings.allow(*e.day, *e.km)) {
      out.doubted.push_back(std::move(e));
    } else {
      const double km = or_else(e.km, kNoLimit);
      dated.push_back({std::move(e), km});
    }
  }
  out.happened = merged(std::move(dated), std::move(undated));
  std::size_t looks = 0;
  for (UnitEvent& e : out.happened) {
    e.looks_before = looks;
    looks += e.work ? 0 : 1;
  }
  return out;
}

UnitEvents unit_events(std::span<const Record> records) {
  std::vector<const Record*> pointers;
  pointers.reserve(records.size());
  std::ranges::transform(records, std::back_inserter(pointers), [](const Record& r) { return &r; });
  return unit_events(pointers);
}

std::vector<UnitEvent> works_of(std::span<const Record> records) {
  if (std::ranges::all_of(records, [](const Record& r) { return r.work.empty(); })) {
    return {};
  }
  std::vector<UnitEvent> works = unit_events(records).happened;
  std::erase_if(works, [](const UnitEvent& e) { return !e.work; });
  return works;
}

}  // namespace dryshaft
