#include "record/withdrawn.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <string_view>
#include <unordered_map>
#include <utility>

#include "base/complaints.hpp"
#include "base/index.hpp"
#include "record/look.hpp"

namespace dryshaft {
namespace {

constexpr std::size_t kNobody = static_cast<std::size_t>(-1);
constexpr std::size_t kShownDigits = 12;

// One record says of another that it does not count.
struct Statement {
  std::size_t by;
  std::size_t of = kNobody;
  Withdrawn said;
  bool replaces = false;
  std::string pointer;
  std::uint32_t line = 0;
  std::uint32_t column = 0;
};

std::vector<Statement> statements_of(const std::vector<Record>& records, std::size_t i) {
  const Record& r = records[i];
  std::vector<Statement> out;
  for (std::size_t n = 0; n < r.withdrawn.size(); ++n) {
    const Withdrawn& w = r.withdrawn[n];
    Statement s{.by = i, .said = w, .replaces = w.sha256 == r.replaces, .pointer = {}};
    s.pointer = fmt::format("{}/{}{}", kWithdrawnPointer, n, spec(Field::withdrawn_sha256).pointer);
    s.line = w.line;
    s.column = w.column;
    s.said.day = w.day.value_or(day_of(r));
    out.push_back(std::move(s));
  }
  if (!r.replaces.empty() && std::ranges::none_of(out, &Statement::replaces)) {
    out.push_back({.by = i,
                   .said = {.sha256 = r.replaces},
                   .replaces = true,
                   .pointer = std::string(spec(Field::replaces).pointer),
                   .line = r.replaces_line,
                   .column = r.replaces_column});
  }
  return out;
}

class Settling {
 public:
  Settling(const std::vector<Record>& records, std::optional<int> today,
           std::vector<Diagnostic>& complaints)
      : records_(records), complaints_(complaints), out_({.taken = {}, .is_void = {}}) {
    out_.is_void.assign(records.size(), false);
    for (std::size_t i = 0; i < records.size(); ++i) {
      const bool later = today && day_of(records[i]) > *today;
      for (Statement& s : statements_of(records, i)) {
        // Of a look that is dated later only what it says for the worse counts.
        if (!later) {
          statements_.push_back(std::move(s));
        }
      }
      if (later && is_notice(records[i])) {
        out_.is_void[i] = true;
        refuse(records[i], *today);
      }
    }
  }

  Counts settle() {
    find_targets();
    follow();
    for (std::size_t i = 0; i < records_.size(); ++i) {
      if (taken_by_[i] != kNobody) {
        const Statement& s = statements_[taken_by_[i]];
        out_.taken.push_back({i, s.by, s.said, replaced_[i]});
      }
    }
    return std::move(out_);
  }

 private:
  Diagnostic& complain(const Statement& s, Severity severity, std::string_view code,
                       std::string message, std::string_view hint) {
    Diagnostic d;
    d.severity = severity;
    d.code = code;
    d.source = records_[s.by].source;
    d.line = s.line;
    d.column = s.column;
    d.pointer = s.pointer;
    d.message = std::move(message);
    d.hint = hint;
    return add_complaint(complaints_, std::move(d));
  }

  void refuse(const Record& r, int today) {
    Diagnostic d;
    d.code = "date-after-today";
    d.source = r.source;
    d.line = r.date_line;
    d.column = r.date_column;
    d.pointer = spec(Field::date).pointer;
    d.message = fmt::format("is {}, after the day of judgement, {}: the record does not count yet",
                            date_text(day_of(r)), date_text(today));
    d.hint = "look for a slip of the pen, or name a later --today";
    add_complaint(complaints_, std::move(d));
  }

  void find_targets() {
    if (statements_.empty()) {
      return;
    }
    std::unordered_map<std::string_view, std::size_t> by_hash;
    for (std::size_t i = 0; i < records_.size(); ++i) {
      by_hash.emplace(records_[i].sha256, i);
    }
    for (Statement& s : statements_) {
      const auto found = by_hash.find(s.said.sha256);
      if (found != by_hash.end()) {
        s.of = found->second;
        continue;
      }
      complain(s, Severity::warning, "no-such-record",
               fmt::format("is {}..., and no record that was read with this one has that hash: it "
                           "takes nothing out",
                           s.said.sha256.substr(0, kShownDigits)),
               "name the file with that record as well, or look for a slip of the pen");
    }
  }

  // A record's statements are settled once all those about it are.
  void follow() {
    const std::size_t n = records_.size();
    taken_by_.assign(n, kNobody);
    replaced_.assign(n, false);
    std::vector<std::vector<std::size_t>> made(n);
    std::vector<std::size_t> open(n, 0);
    for (std::size_t s = 0; s < statements_.size(); ++s) {
      made[statements_[s].by].push_back(s);
      if (statements_[s].of != kNobody) {
        ++open[statements_[s].of];
      }
    }
    std::vector<std::size_t> ready;
    for (std::size_t i = n; i-- > 0;) {
      if (open[i] == 0) {
        ready.push_back(i);
      }
    }
    std::vector<bool> settled(n, false);
    while (!ready.empty()) {
      const std::size_t i = ready.back();
      ready.pop_back();
      settled[i] = true;
      for (const std::size_t s : made[i]) {
        const std::size_t of = statements_[s].of;
        if (of == kNobody) {
          continue;
        }
        // What takes the place of another record goes on doing so when it is replaced itself.
        if (taken_by_[i] == kNobody || (replaced_[i] && statements_[s].replaces)) {
          take_out(s);
        }
        if (--open[of] == 0) {
          ready.push_back(of);
        }
      }
    }
    for (const Statement& s : statements_) {
      if (s.of != kNobody && !settled[s.by]) {
        complain(s, Severity::warning, "circular",
                 fmt::format("is {}..., and what one of the two says of the other goes round in a "
                             "circle: both count",
                             s.said.sha256.substr(0, kShownDigits)),
                 "look for a slip of the pen");
      }
    }
  }

  void take_out(std::size_t number) {
    const Statement& s = statements_[number];
    std::size_t& taken_by = taken_by_[s.of];
    if (s.replaces && replaced_[s.of]) {
      const Record& other = records_[statements_[taken_by].by];
      complain(s, Severity::warning, "replaced-twice",
               fmt::format("is {}..., which {}:{} takes the place of as well: both count, and the "
                           "worse of them holds",
                           s.said.sha256.substr(0, kShownDigits), other.source, other.line),
               "withdraw one of the two");
    }
    if (taken_by == kNobody || (s.replaces && !replaced_[s.of])) {
      taken_by = number;
    }
    replaced_[s.of] = replaced_[s.of] || s.replaces;
  }

  const std::vector<Record>& records_;
  std::vector<Diagnostic>& complaints_;
  Counts out_;
  std::vector<Statement> statements_;
  std::vector<std::size_t> taken_by_;  // of each record, the statement
  std::vector<bool> replaced_;
};

}  // namespace

bool is_notice(const Record& r) {
  const bool says_so = !r.withdrawn.empty() || std::ranges::any_of(r.work, [](const Work& w) {
    return leaves_care(w.did);
  });
  if (!says_so || !r.replaces.empty() ||
      !std::ranges::all_of(r.work, [](const Work& w) { return leaves_care(w.did); })) {
    return false;
  }
  return std::ranges::all_of(fields(), [&](const FieldSpec& f) {
    return !r.has(f.id) || f.id == Field::format || f.id == Field::unit_id || f.id == Field::date ||
           f.id == Field::odometer_km || f.id == Field::by || f.id == Field::note;
  });
}

Counts what_counts(const std::vector<Record>& records, std::optional<int> today,
                   std::vector<Diagnostic>& complaints) {
  return Settling(records, today, complaints).settle();
}

}  // namespace dryshaft
