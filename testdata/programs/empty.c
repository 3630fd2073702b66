/* What every program of the theatre begins with, and nothing else. */
#include <stdint.h>

extern uint32_t stack_top;
void reset(void);
int main(void);

__attribute__((section(".vectors"), used)) void *const vectors[] = { &stack_top, reset };

static uint32_t ticks = 7;
static uint8_t report[64];

void reset(void)
{
    main();
}

int main(void)
{
    for (;;)
        report[ticks++ & 63]++;
}
