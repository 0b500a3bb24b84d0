// timed COMMAND...
//
// Runs a command and says on the last line of standard error what it took: wall seconds and peak resident
// memory in kB, of the whole process with its children. The command's own output goes where it would have
// gone.

#include <chrono>
#include <cstdio>
#include <cstdlib>

#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

int main(int argc, char** argv) {
    if (argc < 2) {
        std::fputs("usage: timed COMMAND...\n", stderr);
        return 2;
    }
    const auto begun = std::chrono::steady_clock::now();
    const pid_t child = fork();
    if (child == 0) {
        execvp(argv[1], argv + 1);
        std::perror(argv[1]);
        _exit(127);
    }
    int status = 0;
    rusage used{};
    if (child < 0 || wait4(child, &status, 0, &used) < 0) {
        std::perror("timed");
        return 1;
    }
    const std::chrono::duration<double> wall = std::chrono::steady_clock::now() - begun;
    std::fprintf(stderr, "timed %.4f %ld\n", wall.count(), used.ru_maxrss);
    return WIFEXITED(status) ? WEXITSTATUS(status) : 1;
}
