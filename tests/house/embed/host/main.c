int graded(const char* data);

int main(int count, char** arguments) { return count == 2 ? graded(arguments[1]) : 2; }
