/* Serve registers.txt by libmodbus: server FILE. Prints "ready PORT" once a
 * client may ask. One client at a time is all that the test needs. */
#include <arpa/inet.h>
#include <modbus.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

enum { UNITS = 248, REGISTERS = 200, UNIT_ID = 6 /* place of the unit in a TCP request */ };

static modbus_mapping_t *maps[UNITS];

static void load(const char *name)
{
    char line[1024];
    FILE *f = fopen(name, "r");
    if (f == NULL) {
        perror(name);
        exit(3);
    }
    while (fgets(line, sizeof line, f) != NULL) {
        unsigned unit, table, address, word;
        int used, n;
        line[strcspn(line, "#")] = 0;
        if (sscanf(line, "%u %u %u%n", &unit, &table, &address, &used) != 3 || unit >= UNITS)
            continue;
        if (maps[unit] == NULL)
            maps[unit] = modbus_mapping_new(0, 0, REGISTERS, REGISTERS);
        for (char *p = line + used; sscanf(p, "%x%n", &word, &n) == 1 && address < REGISTERS; p += n)
            (table == 3 ? maps[unit]->tab_registers : maps[unit]->tab_input_registers)[address++] = word;
    }
    fclose(f);
}

int main(int argc, char **argv)
{
    struct sockaddr_in at;
    socklen_t size = sizeof at;
    uint8_t request[MODBUS_TCP_MAX_ADU_LENGTH];
    modbus_t *ctx = modbus_new_tcp("127.0.0.1", 0);
    if (argc != 2)
        return 2;
    load(argv[1]);
    int listener = modbus_tcp_listen(ctx, 5);
    if (listener < 0 || getsockname(listener, (struct sockaddr *)&at, &size) < 0) {
        perror("listen");
        return 3;
    }
    printf("ready %d\n", ntohs(at.sin_port));
    fflush(stdout);
    while (modbus_tcp_accept(ctx, &listener) >= 0) {
        int n;
        while ((n = modbus_receive(ctx, request)) >= 0) {
            modbus_mapping_t *map = maps[request[UNIT_ID] % UNITS];
            if (map == NULL)
                modbus_reply_exception(ctx, request, MODBUS_EXCEPTION_GATEWAY_TARGET);
            else
                modbus_reply(ctx, request, n, map);
        }
        modbus_close(ctx);
    }
    return 0;
}
