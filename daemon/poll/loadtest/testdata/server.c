/* A Modbus/TCP server on libmodbus that serves any number of clients from one
 * thread. Prints its port, serves until it is killed. */
#include <errno.h>
#include <modbus.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/epoll.h>
#include <sys/socket.h>
#include <netinet/in.h>
#include <unistd.h>

int main(void) {
	modbus_t *ctx = modbus_new_tcp("127.0.0.1", 0);
	modbus_mapping_t *map = modbus_mapping_new(0, 0, 1000, 1000);
	int listener = modbus_tcp_listen(ctx, 512);
	struct sockaddr_in addr;
	socklen_t size = sizeof addr;
	if (listener < 0 || map == NULL || getsockname(listener, (struct sockaddr *)&addr, &size) < 0) {
		perror("listen");
		return 1;
	}
	for (int i = 0; i < 1000; i++) {
		map->tab_registers[i] = i;
	}
	printf("%d\n", ntohs(addr.sin_port));
	fflush(stdout);
	int ep = epoll_create1(0);
	struct epoll_event ev = {.events = EPOLLIN, .data.fd = listener}, evs[256];
	epoll_ctl(ep, EPOLL_CTL_ADD, listener, &ev);
	uint8_t query[MODBUS_TCP_MAX_ADU_LENGTH];
	for (;;) {
		int n = epoll_wait(ep, evs, 256, -1);
		for (int i = 0; i < n; i++) {
			int fd = evs[i].data.fd;
			if (fd == listener) {
				ev.data.fd = accept(listener, NULL, NULL);
				ev.events = EPOLLIN;
				epoll_ctl(ep, EPOLL_CTL_ADD, ev.data.fd, &ev);
				continue;
			}
			modbus_set_socket(ctx, fd);
			int len = modbus_receive(ctx, query);
			if (len > 0) {
				modbus_reply(ctx, query, len, map);
			} else if (len < 0) {
				close(fd);
			}
		}
	}
}
