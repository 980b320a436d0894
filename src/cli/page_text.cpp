#include "cli/page_text.hpp"

#include <fmt/format.h>
#include <libxml/HTMLparser.h>

#include <algorithm>
#include <array>
#include <cstdlib>
#include <map>
#include <memory>
#include <optional>
#include <vector>

#include "base/utf8.hpp"

namespace dryshaft::cli {
namespace {

constexpr std::string_view kRecordsElement = "dryshaft-records";

// What the walk writes where stress begins and ends; texts lose such characters before.
constexpr char kBold = '\x01';
constexpr char kColoured = '\x02';
constexpr char kPlain = '\x03';

using Attributes = std::map<std::string, std::string>;

template <std::size_t N>
bool among(std::string_view word, const std::array<std::string_view, N>& words) {
  return std::ranges::find(words, word) != words.end();
}

bool is_block(std::string_view name) {
  static constexpr std::array<std::string_view, 36> kBlocks = {
      "address", "article",  "aside", "blockquote", "body", "caption",  "center",  "dd",
      "details", "dir",      "div",   "dl",         "dt",   "fieldset", "figure",  "footer",
      "form",    "h1",       "h2",    "h3",         "h4",   "h5",       "h6",      "header",
      "hr",      "li",       "main",  "ol",         "p",    "pre",      "section", "summary",
      "table",   "textarea", "tr",    "ul"};
  return among(name, kBlocks);
}

// The value of one property of a `style`, in small letters; or empty.
std::string style_of(const Attributes& attributes, std::string_view property) {
  const auto found = attributes.find("style");
  const std::string style = found == attributes.end() ? std::string() : small(found->second);
  for (std::size_t at = 0; at < style.size();) {
    const std::size_t end = std::min(style.find(';', at), style.size());
    const std::string_view one = std::string_view(style).substr(at, end - at);
    const std::size_t colon = one.find(':');
    if (colon != std::string_view::npos && utf8::trim_unseen(one.substr(0, colon)) == property) {
      return std::string(utf8::trim_unseen(one.substr(colon + 1)));
    }
    at = end + 1;
  }
  return {};
}

struct Colour {
  long red = 0;
  long green = 0;
  long blue = 0;

  [[nodiscard]] bool is_grey() const {
    constexpr long kNear = 64;
    return std::max({red, green, blue}) - std::min({red, green, blue}) < kNear;
  }
  [[nodiscard]] bool is_white() const {
    constexpr long kLight = 230;
    return std::min({red, green, blue}) >= kLight;
  }
};

// "#f00", "#ff0000", "rgb(255, 0, 0)"
std::optional<Colour> colour_in(const std::string& text) {
  const auto hex = [&](std::size_t at, std::size_t size) {
    const long value = std::strtol(text.substr(at, size).c_str(), nullptr, 16);
    return size == 1 ? value * 17 : value;
  };
  if (text.starts_with('#') && (text.size() == 4 || text.size() == 7)) {
    const std::size_t size = text.size() / 3;
    return Colour{hex(1, size), hex(1 + size, size), hex(1 + 2 * size, size)};
  }
  if (!text.starts_with("rgb")) {
    return std::nullopt;
  }
  std::vector<long> values;
  for (const char* at = text.c_str(); *at != '\0';) {
    char* end = nullptr;
    const long value = *at >= '0' && *at <= '9' ? std::strtol(at, &end, 10) : 0;
    if (end != nullptr) {
      values.push_back(value);
    }
    at = end != nullptr ? end : at + 1;
  }
  return values.size() < 3 || (values.size() > 3 && values[3] == 0)
             ? std::nullopt
             : std::optional(Colour{values[0], values[1], values[2]});
}

bool is_highlight(const std::string& background) {
  static constexpr std::array<std::string_view, 4> kNames = {"yellow", "lime", "aqua", "orange"};
  const std::optional<Colour> colour = colour_in(background);
  return colour ? !colour->is_white() && !colour->is_grey() : among(background, kNames);
}
bool is_striking(const std::string& text) {
  static constexpr std::array<std::string_view, 7> kNames = {"red",    "blue",    "green", "orange",
                                                             "purple", "fuchsia", "lime"};
  const std::optional<Colour> colour = colour_in(text);
  return colour ? !colour->is_grey() : among(text, kNames);
}

// What one element does to the text in it.
struct Element {
  std::string name;
  bool block = false;
  bool as_typed = false;  // its blanks and line ends count
  bool gone = false;      // nobody sees it, or it was struck out
  bool records = false;
  bool bold = false;
  bool coloured = false;
};

Element element_of(const std::string& name, const Attributes& attributes) {
  static constexpr std::array<std::string_view, 7> kUnseen = {
      "script", "style", "title", "template", "noscript", "object", "svg"};
  static constexpr std::array<std::string_view, 3> kStruck = {"s", "strike", "del"};
  static constexpr std::array<std::string_view, 5> kBolds = {"b", "strong", "mark", "u", "ins"};
  const auto attribute = [&](const std::string& key) {
    const auto found = attributes.find(key);
    return found == attributes.end() ? std::string() : small(found->second);
  };
  Element out;
  out.name = name;
  out.block = is_block(name);
  out.as_typed =
      name == "pre" || name == "textarea" || style_of(attributes, "white-space").starts_with("pre");
  const std::string line =
      style_of(attributes, "text-decoration") + style_of(attributes, "text-decoration-line");
  out.gone = among(name, kUnseen) || among(name, kStruck) ||
             line.find("line-through") != std::string::npos ||
             style_of(attributes, "display") == "none" || attributes.contains("hidden");
  out.records = name == "script" && attribute("type") == "application/json" &&
                attribute("id") == kRecordsElement;
  const std::string weight = style_of(attributes, "font-weight");
  const std::string background = style_of(attributes, "background");
  out.bold = among(name, kBolds) || weight.starts_with("bold") || weight == "600" ||
             weight == "700" || weight == "800" || weight == "900" ||
             line.find("underline") != std::string::npos || is_highlight(background) ||
             is_highlight(style_of(attributes, "background-color"));
  out.coloured = is_striking(name == "font" ? attribute("color") : style_of(attributes, "color"));
  return out;
}

// Told of each element and text in turn, so no nesting is too deep.
class Walk {
 public:
  void begin(const std::string& name, const Attributes& attributes) {
    Element e = element_of(name, attributes);
    if (e.block) {
      end_line();
    } else if (name == "td" || name == "th") {
      space();
    }
    if (name == "br") {
      new_line();
    } else if (name == "input" && attributes.contains("checked")) {
      text("[x] ");
    } else if (name == "img") {
      const auto alt = attributes.find("alt");
      constexpr std::size_t kSign = 8;  // bytes of a tick as a picture
      text(alt != attributes.end() && alt->second.size() <= kSign ? alt->second : "");
    }
    if (e.records) {
      records_.emplace_back();
    }
    count(e, 1);
    open_.push_back(std::move(e));
  }

  void end(const std::string& name) {
    const auto last = std::ranges::find(open_.rbegin(), open_.rend(), name, &Element::name);
    if (last == open_.rend()) {
      return;
    }
    const auto first = last.base() - 1;
    for (auto e = open_.end(); e != first;) {
      --e;
      count(*e, -1);
      if (e->block) {
        end_line();
      }
    }
    open_.erase(first, open_.end());
  }

  void text(std::string_view given) {
    if (!open_.empty() && open_.back().records) {
      records_.back() += given;
      return;
    }
    if (gone_ > 0) {
      return;
    }
    for (const char c : given) {
      const bool blank = c == ' ' || c == '\t' || c == '\n' || c == '\r';
      if (c == '\n' && as_typed_ > 0) {
        new_line();
      } else if (blank && as_typed_ == 0) {
        space();
      } else if (blank || static_cast<unsigned char>(c) >= ' ') {
        put(c == '\r' || c == '\t' ? ' ' : c);
      }
    }
  }

  [[nodiscard]] const std::vector<std::string>& records() const { return records_; }
  std::string take() {
    end_line();
    return with_stress(out_);
  }

 private:
  void count(const Element& e, int by) {
    gone_ += e.gone ? by : 0;
    as_typed_ += e.as_typed ? by : 0;
    bold_ += e.bold ? by : 0;
    coloured_ += e.coloured ? by : 0;
  }

  void put(char c) {
    const char stress = bold_ > 0 ? kBold : coloured_ > 0 ? kColoured : kPlain;
    if (space_ && !at_line_begin()) {
      out_ += ' ';
    }
    space_ = false;
    if (stress != stress_) {
      out_ += stress;
      stress_ = stress;
    }
    out_ += c;
  }
  void space() { space_ = true; }
  void new_line() {
    if (gone_ == 0) {
      out_ += '\n';
      stress_ = kPlain;
      space_ = false;
    }
  }
  void end_line() {
    if (!at_line_begin()) {
      new_line();
    }
    space_ = false;
  }
  [[nodiscard]] bool at_line_begin() const { return out_.empty() || out_.back() == '\n'; }

  // Signs instead of stress in lines with an empty box; else none.
  static std::string with_stress(std::string_view text) {
    std::string out;
    for (std::size_t at = 0; at < text.size();) {
      const std::size_t end = std::min(text.find('\n', at), text.size() - 1) + 1;
      add_line(out, text.substr(at, end - at));
      at = end;
    }
    return out;
  }
  static void add_line(std::string& out, std::string_view line) {
    std::string bare;
    for (const char c : line) {
      if (c != kBold && c != kColoured && c != kPlain) {
        bare += c;
      }
    }
    if (!has_empty_box(bare)) {
      out += bare;
      return;
    }
    for (std::size_t i = 0; i < line.size(); ++i) {
      if (line[i] == kBold || line[i] == kColoured) {
        const std::size_t stop = std::min(line.find_first_of("\x01\x02\x03\n", i + 1), line.size());
        const bool more_than_a_mark =
            utf8::length(utf8::trim_unseen(line.substr(i + 1, stop - i - 1))) > 1;
        out += !more_than_a_mark ? "" : line[i] == kBold ? "*" : "~";
      } else if (line[i] != kPlain) {
        out += line[i];
      }
    }
  }
  static bool has_empty_box(std::string_view line) {
    if (line.find("\u2610") != std::string_view::npos) {
      return true;
    }
    const std::size_t open = line.find('[');
    const std::size_t close = line.find(']', open);
    return open != std::string_view::npos && close != std::string_view::npos &&
           utf8::trim_unseen(line.substr(open + 1, close - open - 1)).empty();
  }

  std::vector<Element> open_;
  std::string out_;
  std::vector<std::string> records_;
  bool space_ = false;
  char stress_ = kPlain;
  int gone_ = 0;
  int as_typed_ = 0;
  int bold_ = 0;
  int coloured_ = 0;
};

std::string text_of(const xmlChar* text) {
  return text == nullptr ? std::string() : std::string(reinterpret_cast<const char*>(text));
}

void on_begin(void* walk, const xmlChar* name, const xmlChar** attributes) {
  Attributes all;
  for (; attributes != nullptr && attributes[0] != nullptr; attributes += 2) {
    all.emplace(small(text_of(attributes[0])), text_of(attributes[1]));
  }
  static_cast<Walk*>(walk)->begin(small(text_of(name)), all);
}
void on_end(void* walk, const xmlChar* name) {
  static_cast<Walk*>(walk)->end(small(text_of(name)));
}
void on_text(void* walk, const xmlChar* text, int size) {
  static_cast<Walk*>(walk)->text(
      {reinterpret_cast<const char*>(text), static_cast<std::size_t>(size)});
}

struct FreeParser {
  void operator()(htmlParserCtxtPtr parser) const { htmlFreeParserCtxt(parser); }
};

void walk_through(const std::string& page, Walk& walk) {
  const std::unique_ptr<htmlParserCtxt, FreeParser> parser(htmlNewParserCtxt());
  if (parser == nullptr) {
    return;
  }
  xmlSAXHandler told{};
  told.startElement = on_begin;
  told.endElement = on_end;
  told.characters = on_text;
  told.cdataBlock = on_text;
  told.ignorableWhitespace = on_text;
  *parser->sax = told;
  parser->userData = &walk;
  htmlDocPtr none =
      htmlCtxtReadMemory(parser.get(), page.data(), static_cast<int>(page.size()), nullptr, "UTF-8",
                         HTML_PARSE_RECOVER | HTML_PARSE_NOERROR | HTML_PARSE_NOWARNING |
                             HTML_PARSE_NONET | HTML_PARSE_IGNORE_ENC);
  xmlFreeDoc(none);
}

// The page with all blanked out but its records; these alone, where they cannot be found in it.
std::string records_alone(const std::string& page, const std::vector<std::string>& records) {
  std::string out = page;
  std::size_t done = 0;
  const auto blank_until = [&](std::size_t end) {
    std::replace_if(
        out.begin() + static_cast<std::ptrdiff_t>(done),
        out.begin() + static_cast<std::ptrdiff_t>(end), [](char c) { return c != '\n'; }, ' ');
  };
  for (const std::string& text : records) {
    const std::size_t begin = page.find(text, page.find(kRecordsElement, done));
    if (begin == std::string::npos) {
      return fmt::format("{}\n", fmt::join(records, "\n"));
    }
    blank_until(begin);
    done = begin + text.size();
  }
  blank_until(out.size());
  return out;
}

std::size_t count_of(std::string_view text, std::string_view wanted) {
  std::size_t count = 0;
  for (std::size_t at = text.find(wanted); at != std::string_view::npos;
       at = text.find(wanted, at + wanted.size())) {
    ++count;
  }
  return count;
}

}  // namespace

bool is_page(std::string_view text) {
  std::string_view start =
      utf8::trim_unseen(text.substr(0, std::min<std::size_t>(text.size(), 4096)));
  if (start.starts_with('{') || start.starts_with('[')) {
    return false;
  }
  const bool tag = start.size() > 1 && start.front() == '<' &&
                   (start[1] == '!' || (start[1] >= 'a' && start[1] <= 'z') ||
                    (start[1] >= 'A' && start[1] <= 'Z'));
  // Copied from a page: every line of a form has a tag then.
  constexpr std::size_t kMany = 20;
  const std::string all = small(text);
  return tag ? all.find('>') != std::string::npos && count_of(all, "</") + count_of(all, "<br") > 0
             : count_of(all, "<br") + count_of(all, "</p>") + count_of(all, "</div>") +
                       count_of(all, "</li>") >=
                   kMany;
}

PageText page_text(std::string utf8) {
  std::ranges::replace(utf8, '\0', ' ');  // it would end the page
  Walk walk;
  walk_through(utf8, walk);
  if (walk.records().empty()) {
    return {walk.take(), false};
  }
  return {records_alone(utf8, walk.records()), true};
}

std::string small(std::string_view text) {
  std::string out(text);
  std::ranges::transform(out, out.begin(), [](char c) {
    return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
  });
  return out;
}

}  // namespace dryshaft::cli
