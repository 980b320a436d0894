// The interface for C. Nothing is thrown beyond it.
#include <algorithm>
#include <cstdlib>
#include <cstring>
#include <exception>
#include <iterator>
#include <new>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "base/complaints.hpp"
#include "dryshaft/dryshaft.h"
#include "dryshaft/dryshaft.hpp"
#include "report/in_words.hpp"

struct dryshaft_grader {
  dryshaft::Grader grader;
};

namespace dryshaft {
namespace {

std::string_view or_empty(const char* text) { return text == nullptr ? "" : text; }

char* copy_of(std::string_view text) {
  auto* const out = static_cast<char*>(std::malloc(text.size() + 1));
  if (out == nullptr) {
    throw std::bad_alloc();
  }
  std::copy(text.begin(), text.end(), out);
  out[text.size()] = '\0';
  return out;
}

Diagnostic complaint_of(std::string_view code, std::string_view source, std::string message) {
  Diagnostic d;
  d.code = code;
  d.source = source;
  d.message = std::move(message);
  return d;
}

// Carries out `call`, which adds its complaints and gives a status.
template <typename Call>
int without_exceptions(char** complaints, const Call& call) {
  if (complaints != nullptr) {
    *complaints = nullptr;
  }
  try {
    std::vector<Diagnostic> said;
    int status = DRYSHAFT_BUG;
    try {
      status = call(said);
    } catch (const std::exception& bug) {
      said.push_back(complaint_of("bug", "dryshaft", bug.what()));
    }
    if (complaints != nullptr) {
      *complaints = copy_of(to_json(said));
    }
    return status;
  } catch (...) {
    return DRYSHAFT_BUG;
  }
}

int missing(std::string_view what, std::vector<Diagnostic>& said) {
  said.push_back(complaint_of("bad-option", what, "is a null pointer"));
  return DRYSHAFT_USAGE;
}

int opened(Result<Grader> result, dryshaft_grader** grader, std::vector<Diagnostic>& said) {
  said = std::move(result.diagnostics);
  if (!result.value) {
    return DRYSHAFT_REJECTED;
  }
  *grader = new dryshaft_grader{*std::move(result.value)};
  return DRYSHAFT_DONE;
}

std::optional<std::vector<NamedText>> texts_of(const dryshaft_file* files, std::size_t number) {
  std::vector<NamedText> out;
  for (const dryshaft_file& file : std::span(files, files == nullptr ? 0 : number)) {
    if (file.name == nullptr || file.text == nullptr) {
      return std::nullopt;
    }
    out.push_back({file.name, std::string(file.text, file.size)});
  }
  return out;
}

std::string assessed(const Grader& grader, std::string_view records, std::string_view name,
                     Task task, std::vector<Diagnostic>& said, bool& refused) {
  Records read = read_records(records, name, grader.read_options());
  Batch batch;
  batch.rejected_records = read.rejected;
  batch.rejected_at_least = read.rejected_at_least;
  Result<std::vector<History>> units = group_by_unit(std::move(read.records), task.options.today);
  said = std::move(read.diagnostics);
  for (Diagnostic& d : units.diagnostics) {
    add_complaint(said, std::move(d));
  }
  for (const History& unit : *units.value) {
    const int day = static_cast<int>(unit.records.back().at(Field::date).number);
    batch.today = std::max(batch.today, date_text(day));
  }
  if (task.options.today) {
    batch.today = date_text(*task.options.today);
  }
  task.options.today = parse_date(batch.today);
  for (const History& unit : *units.value) {
    batch.reports.push_back(grader.report(unit, task.options));
  }
  rank(batch.reports);
  refused =
      std::ranges::any_of(said, [](const Diagnostic& d) { return d.severity == Severity::error; });
  batch.rejected = said;
  return batch.reports.empty() ? std::string() : written(batch, task);
}

}  // namespace
}  // namespace dryshaft

extern "C" {

const char* dryshaft_version(void) { return DRYSHAFT_VERSION; }

int dryshaft_open(const char* data, dryshaft_grader** grader, char** complaints) {
  using namespace dryshaft;
  return without_exceptions(complaints, [&](std::vector<Diagnostic>& said) {
    if (grader == nullptr || data == nullptr) {
      return missing(data == nullptr ? "data" : "grader", said);
    }
    *grader = nullptr;
    return opened(Grader::open(data), grader, said);
  });
}

int dryshaft_open_texts(const dryshaft_file* rules, size_t number_of_rules,
                        const dryshaft_file* families, size_t number_of_families,
                        dryshaft_grader** grader, char** complaints) {
  using namespace dryshaft;
  return without_exceptions(complaints, [&](std::vector<Diagnostic>& said) {
    if (grader == nullptr) {
      return missing("grader", said);
    }
    *grader = nullptr;
    auto rule_texts = texts_of(rules, number_of_rules);
    auto family_texts = texts_of(families, number_of_families);
    if (!rule_texts || !family_texts) {
      return missing(rule_texts ? "families" : "rules", said);
    }
    Result<Knowledge> loaded = load_knowledge(*std::move(rule_texts), *std::move(family_texts));
    Result<Grader> result{{}, std::move(loaded.diagnostics)};
    if (loaded.value) {
      result.value.emplace(*std::move(loaded.value));
    }
    return opened(std::move(result), grader, said);
  });
}

int dryshaft_assess(const dryshaft_grader* grader, const char* records, size_t size,
                    const dryshaft_options* options, char** report, char** complaints) {
  using namespace dryshaft;
  if (report != nullptr) {
    *report = nullptr;
  }
  return without_exceptions(complaints, [&](std::vector<Diagnostic>& said) {
    if (grader == nullptr || report == nullptr || (records == nullptr && size > 0)) {
      return missing(grader == nullptr ? "grader" : report == nullptr ? "report" : "records", said);
    }
    const dryshaft_options o = options == nullptr ? dryshaft_options{} : *options;
    Result<Task> task = task_in({.format = or_empty(o.format),
                                 .reader = or_empty(o.reader),
                                 .units = or_empty(o.units),
                                 .today = or_empty(o.today),
                                 .buying = o.buying != 0});
    if (!task.value) {
      said = std::move(task.diagnostics);
      return int{DRYSHAFT_USAGE};
    }
    const std::string_view name = o.name == nullptr ? "<records>" : or_empty(o.name);
    bool refused = false;
    *report = copy_of(assessed(grader->grader, size == 0 ? "" : std::string_view(records, size),
                               name, *std::move(task.value), said, refused));
    return int{refused ? DRYSHAFT_REJECTED : DRYSHAFT_DONE};
  });
}

void dryshaft_free(char* text) { std::free(text); }

void dryshaft_free_grader(dryshaft_grader* grader) { delete grader; }
}
