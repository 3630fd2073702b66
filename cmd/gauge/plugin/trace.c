// Plugin of the emulator that tells which blocks of code are executed, in
// order: one 32-bit word each into a pipe, the address of the block's first
// instruction in the low 22 bits and the number of its instructions above.
// Arguments: log=PATH to write to, below=ADDRESS from which on code is left out.
//
// The declarations are those of version 1 of QEMU's plugin interface; Debian
// ships no header for it.
#include <fcntl.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

typedef uint64_t qemu_plugin_id_t;
struct qemu_plugin_tb;
enum qemu_plugin_cb_flags { QEMU_PLUGIN_CB_NO_REGS };
void qemu_plugin_register_vcpu_tb_trans_cb(qemu_plugin_id_t id,
                                           void (*translated)(qemu_plugin_id_t, struct qemu_plugin_tb *));
void qemu_plugin_register_vcpu_tb_exec_cb(struct qemu_plugin_tb *block, void (*executed)(unsigned, void *),
                                          enum qemu_plugin_cb_flags flags, void *data);
void qemu_plugin_register_atexit_cb(qemu_plugin_id_t id, void (*ended)(qemu_plugin_id_t, void *), void *data);
size_t qemu_plugin_tb_n_insns(const struct qemu_plugin_tb *block);
uint64_t qemu_plugin_tb_vaddr(const struct qemu_plugin_tb *block);

#define SHOWN __attribute__((visibility("default")))

SHOWN int qemu_plugin_version = 1;

static int pipe_end = -1;
static uint64_t below;
static uint32_t words[1 << 14];
static size_t used;

static void flush(void) {
  const char *at = (const char *)words;
  size_t left = used * sizeof words[0];
  while (left > 0) {
    ssize_t written = write(pipe_end, at, left);
    if (written <= 0)
      exit(1); // nobody reads any more
    at += written;
    left -= (size_t)written;
  }
  used = 0;
}

static void executed(unsigned cpu, void *word) {
  (void)cpu;
  words[used++] = (uint32_t)(uintptr_t)word;
  if (used == sizeof words / sizeof words[0])
    flush();
}

static void translated(qemu_plugin_id_t id, struct qemu_plugin_tb *block) {
  (void)id;
  uint64_t address = qemu_plugin_tb_vaddr(block);
  if (address < below)
    qemu_plugin_register_vcpu_tb_exec_cb(block, executed, QEMU_PLUGIN_CB_NO_REGS,
                                         (void *)(uintptr_t)(address | qemu_plugin_tb_n_insns(block) << 22));
}

static void ended(qemu_plugin_id_t id, void *data) {
  (void)id, (void)data;
  flush();
}

SHOWN int qemu_plugin_install(qemu_plugin_id_t id, const void *info, int count, char **arguments) {
  (void)info;
  for (int n = 0; n < count; n++) {
    if (strncmp(arguments[n], "log=", 4) == 0)
      pipe_end = open(arguments[n] + 4, O_WRONLY);
    else if (strncmp(arguments[n], "below=", 6) == 0)
      below = strtoull(arguments[n] + 6, NULL, 0);
  }
  if (pipe_end < 0)
    return -1;
  qemu_plugin_register_vcpu_tb_trans_cb(id, translated);
  qemu_plugin_register_atexit_cb(id, ended, NULL);
  return 0;
}
