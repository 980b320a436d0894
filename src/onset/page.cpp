#include "report/markup.hpp"
#include "dryshaft/onset.hpp"
namespace dryshaft { std::string onset_to_html(const OnsetSheet&) { return {}; } }
