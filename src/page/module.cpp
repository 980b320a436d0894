// What a page calls in the module: it writes a request into `dryshaft_room`, asks, and reads as
// many bytes as `dryshaft_answered` says. src/page/core.js does so.
#include <cstddef>
#include <string>
#include <utility>

#include "page/page.hpp"

#ifdef __wasm__
#include "record/look_alike.hpp"

namespace dryshaft {

// A page shows one unit, and has no Unicode tables to tell whether another's id looks like its own.
std::string looks(std::string_view id) { return std::string(id); }
std::string first_difference(std::string_view /*a*/, std::string_view /*b*/) { return {}; }

}  // namespace dryshaft
#endif

namespace dryshaft::page {
namespace {

struct File {
  std::string_view folder;
  std::string_view name;
  std::string_view text;
};
constexpr File kFiles[] = {
#include "page/data.inc"
};

std::vector<NamedText> files_of(std::string_view folder) {
  std::vector<NamedText> out;
  for (const File& f : kFiles) {
    if (f.folder == folder) {
      out.push_back({std::string(f.name), std::string(f.text)});
    }
  }
  return out;
}

std::string request_text;
std::string answer_text;

// The data that was built in is sound: tests open it.
Assessor& assessor() {
  static Assessor one(*shipped_grader().value);
  return one;
}

}  // namespace

Result<Grader> shipped_grader(std::vector<NamedText> rules, std::vector<NamedText> families) {
  Result<Knowledge> loaded =
      load_knowledge(rules.empty() ? files_of("rules") : std::move(rules),
                     families.empty() ? files_of("families") : std::move(families));
  Result<Grader> out{{}, std::move(loaded.diagnostics)};
  if (loaded.value) {
    out.value.emplace(*std::move(loaded.value));
  }
  return out;
}

}  // namespace dryshaft::page

extern "C" {

char* dryshaft_room(std::size_t bytes) {
  dryshaft::page::request_text.resize(bytes);
  return dryshaft::page::request_text.data();
}

const char* dryshaft_loaded() {
  using namespace dryshaft::page;
  answer_text = assessor().loaded(request_text);
  return answer_text.data();
}

const char* dryshaft_graded() {
  using namespace dryshaft::page;
  answer_text = assessor().graded(request_text);
  return answer_text.data();
}

const char* dryshaft_form() {
  using namespace dryshaft::page;
  answer_text = assessor().answered(request_text);
  return answer_text.data();
}

std::size_t dryshaft_answered() { return dryshaft::page::answer_text.size(); }
}
