#include <algorithm>
#include <iterator>
#include <memory>
#include <mutex>
#include <optional>
#include <utility>

#include "base/complaints.hpp"
#include "decide/assess.hpp"
#include "dryshaft/dryshaft.hpp"

namespace dryshaft {

struct Grader::Parts {
  explicit Parts(Knowledge k)
      : knowledge(std::move(k)), model(knowledge), reading(dryshaft::read_options(knowledge)) {}

  // Made for the first report: some only read or plan, and they are dozens of models.
  const Judgements& judged() const {
    std::call_once(once, [this] { judged_made.emplace(judged_values(knowledge)); });
    return *judged_made;
  }

  Knowledge knowledge;
  Model model;
  ReadOptions reading;
  mutable std::once_flag once;
  mutable std::optional<Judgements> judged_made;
};

Grader::Grader(Knowledge knowledge) : parts_(std::make_shared<Parts>(std::move(knowledge))) {}

Result<Grader> Grader::open(const std::filesystem::path& data) {
  Result<std::vector<NamedText>> rules = read_folder(data / "rules");
  Result<std::vector<NamedText>> families = read_folder(data / "families");
  Result<Grader> opened{{}, std::move(rules.diagnostics)};
  std::ranges::move(families.diagnostics, std::back_inserter(opened.diagnostics));
  if (rules.value && families.value) {
    Result<Knowledge> loaded = load_knowledge(std::move(*rules.value), std::move(*families.value));
    opened.diagnostics = std::move(loaded.diagnostics);
    if (loaded.value) {
      opened.value.emplace(std::move(*loaded.value));
    }
  }
  return opened;
}

const Knowledge& Grader::knowledge() const { return parts_->knowledge; }
const Model& Grader::model() const { return parts_->model; }
const ReadOptions& Grader::read_options() const { return parts_->reading; }

Result<std::vector<History>> Grader::read(std::string_view text, std::string_view name,
                                          std::optional<int> today) const {
  Records read = read_records(text, name, parts_->reading);
  Result<std::vector<History>> units = group_by_unit(std::move(read.records), today);
  for (Diagnostic& d : units.diagnostics) {
    add_complaint(read.diagnostics, std::move(d));
  }
  units.diagnostics = std::move(read.diagnostics);
  return units;
}

Report Grader::report(const History& unit, const AssessOptions& options) const {
  return assess(unit, parts_->knowledge, parts_->model, options, &parts_->judged());
}

}  // namespace dryshaft
