#include "report/markup.hpp"

#include <fmt/format.h>

#include "base/sha256.hpp"
#include "report/layout.hpp"

namespace dryshaft::markup {
namespace {

constexpr std::string_view kStyle =
#include "report/page.css.inc"
    ;

}  // namespace

std::string escaped(std::string_view text) {
  std::string out;
  for (const char c : escaped_content(text)) {
    if (c == '"') {
      out += "&quot;";
    } else if (c == '\'') {
      out += "&#39;";
    } else {
      out.push_back(c);
    }
  }
  return out;
}

std::string escaped_content(std::string_view text) {
  std::string out;
  for (const char c : layout::clean(text)) {
    switch (c) {
      case '&':
        out += "&amp;";
        break;
      case '<':
        out += "&lt;";
        break;
      case '>':
        out += "&gt;";
        break;
      default:
        out.push_back(c);
    }
  }
  return out;
}

std::string in_script(std::string_view json) {
  std::string out;
  out.reserve(json.size() + json.size() / 16);
  for (std::size_t i = 0; i < json.size(); ++i) {
    // Only inside strings can these stand, and there the escape means the same: what could end
    // the element ("</script"), or begin a state in which that is not seen ("<!--", "<script").
    const char next = json[i] == '<' && i + 1 < json.size() ? json[i + 1] : 'x';
    if (next == '/') {
      out += "<\\/";
      ++i;
    } else if (next == '!' || next == 's' || next == 'S') {
      out += "\\u003c";
    } else {
      out.push_back(json[i]);
    }
  }
  return out;
}

std::string whole(const Page& page) {
  const std::string may_run = page.script.empty()
                                  ? std::string("'none'")
                                  : fmt::format("'sha256-{}'{}", sha256_base64(page.script),
                                                page.core.empty() ? "" : " 'wasm-unsafe-eval'");
  std::string out = fmt::format(
      "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
      "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; "
      "img-src data:; style-src 'unsafe-inline'; script-src {}; base-uri 'none'; form-action "
      "'none'\">\n"
      "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
      "<meta name=\"color-scheme\" content=\"light dark\">\n"
      "<title>{}</title>\n<style>\n{}{}</style>\n</head>\n<body>\n{}",
      may_run, escaped(page.title), kStyle, page.style, page.body);
  if (!page.data.empty()) {
    out += fmt::format("<script type=\"application/json\" id=\"data\">{}</script>\n",
                       in_script(page.data));
  }
  if (!page.core.empty()) {
    out += fmt::format("<script type=\"text/plain\" id=\"core\">{}</script>\n", page.core);
  }
  if (!page.script.empty()) {
    out += fmt::format("<script>{}</script>\n", page.script);
  }
  return out + "</body>\n</html>\n";
}

}  // namespace dryshaft::markup
